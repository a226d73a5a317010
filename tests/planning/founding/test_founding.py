"""Founding a shop: by page and by command, once, with nothing of the example in it."""

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from planning.founding import actions
from planning.routes.models import Route, RouteStep, RouteStepMaterial
from shared.access.models import Membership, Role, Site, User
from shared.errors import ShopError

pytestmark = pytest.mark.django_db
FORM = {
    "name": "Own Tools",
    "time_zone": "Europe/Berlin",
    "expected_c": "19.5",
    "username": "olga",
    "password": "a long own password",
    "again": "a long own password",
}


@pytest.fixture
def visitor(settings):
    settings.FOUND_IN_BROWSER = True
    return Client()


def test_the_first_visitor_founds_the_shop_and_is_signed_in(visitor):
    assert visitor.get("/", follow=True).redirect_chain[-1][0] == "/start/"
    answer = visitor.post("/start/", FORM, follow=True)
    assert answer.redirect_chain == [("/setup/", 302)]
    site = Site.objects.get()
    assert (site.name, site.code, site.time_zone) == ("Own Tools", "OWN-TOOLS", "Europe/Berlin")
    assert site.is_default
    assert str(site.expected_c) == "19.5"
    [member] = Membership.objects.all()
    assert (member.user.username, member.role) == ("olga", Role.ADMINISTRATOR)
    assert not member.user.is_superuser
    for page in ("/today/", "/week/2026-W49/", "/orders/", "/stock/", "/people/"):
        assert visitor.get(page).status_code == 200, page


def test_a_second_visitor_is_sent_to_sign_in(visitor):
    visitor.post("/start/", FORM)
    other = Client()
    assert other.get("/start/").status_code == 302
    other.post("/start/", {**FORM, "username": "eve"})
    assert list(User.objects.values_list("username", flat=True)) == ["olga"]


def test_a_server_that_others_reach_is_not_founded_by_a_visitor(settings):
    settings.FOUND_IN_BROWSER = False
    stranger = Client()
    stranger.post("/start/", FORM)
    assert not Site.objects.exists()
    assert not User.objects.exists()
    assert stranger.get("/sign-in/").status_code == 200


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"name": ""}, "This field is required"),
        ({"time_zone": "Mars/Olympus"}, "not one of the available choices"),
        ({"expected_c": "70"}, "less than or equal to 45"),
        ({"expected_c": "warm"}, "Enter a number"),
        ({"password": "short", "again": "short"}, "at least 8 characters"),
        ({"again": "another password"}, "The two passwords differ"),
        ({"username": "no spaces allowed!"}, "Enter a valid username"),
    ],
)
def test_wrong_input_is_told_beside_its_field_and_founds_nothing(visitor, wrong, words):
    page = visitor.post("/start/", {**FORM, **wrong}).content.decode()
    assert words in page
    assert not Site.objects.exists()
    assert not User.objects.exists()
    assert not Route.objects.exists()


def test_an_administrator_without_a_shop_is_led_to_founding_it():
    boss = User.objects.create_superuser("boss", password="a long own password")
    page = Client()
    page.force_login(boss)
    assert page.get("/today/", follow=True).redirect_chain[-1][0] == "/start/"
    form = page.get("/start/").content.decode()
    assert 'name="password"' not in form
    page.post("/start/", {k: FORM[k] for k in ("name", "time_zone", "expected_c")})
    assert Membership.objects.get().user == boss
    assert page.get("/today/").status_code == 200


def test_by_command(monkeypatch, capsys):
    monkeypatch.setenv("SHOP_ADMIN_PASSWORD", "a long own password")
    call_command("found_shop", name="Own Tools", admin="olga", time_zone="Europe/Berlin")
    assert "Own Tools (OWN-TOOLS) is founded; olga administers it." in capsys.readouterr().out
    assert User.objects.get().check_password("a long own password")
    with pytest.raises(CommandError, match="has a shop already"):
        call_command("found_shop", name="Second", admin="eve")


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"time_zone": "Nowhere"}, "time_zone is 'Nowhere'"),
        ({"expected_c": "70"}, "must be 0 to 45 °C"),
        ({"expected_c": "x"}, "--expected-c is 'x'"),
    ],
)
def test_the_command_says_what_does_not_hold(monkeypatch, given, words):
    monkeypatch.setenv("SHOP_ADMIN_PASSWORD", "a long own password")
    with pytest.raises(CommandError, match=words):
        call_command("found_shop", name="Own Tools", admin="olga", **given)
    assert not Site.objects.exists()


def test_the_command_asks_for_a_password(monkeypatch):
    monkeypatch.delenv("SHOP_ADMIN_PASSWORD", raising=False)
    monkeypatch.setattr("sys.stdin.isatty", lambda: False)
    with pytest.raises(CommandError, match="set SHOP_ADMIN_PASSWORD"):
        call_command("found_shop", name="Own Tools", admin="olga")


def test_a_new_shop_has_the_usual_routes_but_no_material_of_the_example():
    actions.found(
        name="Own Tools", time_zone="UTC", username="olga", password="a long own password"
    )
    assert Route.objects.count() >= 2
    assert RouteStep.objects.count() > 10
    assert not RouteStepMaterial.objects.exists()


def test_the_example_never_mixes_with_a_shop_of_ones_own():
    actions.found(
        name="Own Tools", time_zone="UTC", username="olga", password="a long own password"
    )
    with pytest.raises(CommandError, match="another data folder"):
        call_command("load_demo", verbosity=0)
    assert User.objects.count() == 1


def test_founding_twice_keeps_the_first():
    values = {"name": "Own", "time_zone": "UTC", "password": "a long own password"}
    actions.found(username="olga", **values)
    with pytest.raises(ShopError, match="has a shop already"):
        actions.found(username="eve", **values)
    assert Site.objects.count() == 1
