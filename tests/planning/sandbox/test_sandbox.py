"""The sandbox is made anew: who tries calls stays, what was tried is gone, no real shop is hit."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction

from shared import clock
from shared.access.models import AccessToken, CompanyMembership, Membership, Site, User
from shared.hooks import actions as hooks
from shared.hooks.models import Endpoint
from shop.models import Material, Movement
from tests.callers import Caller, caller, make_token, make_user

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def sandbox(settings, tmp_path):
    settings.SANDBOX, settings.DATA, settings.MEDIA_ROOT = True, tmp_path, tmp_path / "media"
    settings.SANDBOX_PASSWORD = "told to those who try"
    call_command("load_demo", "--no-orders", stdout=StringIO())
    return Site.objects.get()


def anew():
    told = StringIO()
    call_command("make_sandbox_anew", "--no-orders", stdout=told)
    return told.getvalue()


def movements():
    return set(Movement.objects.values_list("container__lot__material__code", "quantity", "kind"))


def test_what_was_tried_is_gone_and_who_tried_it_stays(sandbox, settings):
    fresh = movements()
    system = make_user("integration", sandbox, "ordering")
    CompanyMembership.objects.create(user=system, role="integration")
    secret = make_token(system, [sandbox], {"materials:read", "materials:write"})
    gone = make_token(User.objects.get(username="ada"), [sandbox])
    AccessToken.objects.exclude(owner=system).update(revoked_at=clock.now())
    endpoint = hooks.add(
        site=sandbox, name="orders", url="https://hooks.example/in", kinds=[], now=clock.now()
    )
    boss = caller(User.objects.get(username="ada"), [sandbox])
    body = {"code": "TRIED", "name": "Tried", "kind": "resin", "unit": "kg"}
    assert boss.post("/api/v1/materials", body).status_code == 201
    photo = settings.MEDIA_ROOT / "batch_photos" / "1.jpg"
    photo.parent.mkdir(parents=True)
    photo.write_bytes(b"tried")

    assert "1 own accounts, 2 tokens and 1 addresses" in anew()

    assert not Material.objects.filter(code="TRIED").exists()
    assert movements() == fresh
    assert not photo.exists()
    client = Caller()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    assert client.get("/api/v1/materials").status_code == 200
    assert client.get("/api/v1/me").json()["sandbox"] is True
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {gone}")
    assert client.get("/api/v1/materials").status_code == 401
    assert Membership.objects.filter(user__username="ordering", role="integration").exists()
    assert CompanyMembership.objects.filter(user__username="ordering").exists()
    now = Endpoint.objects.get()
    assert (now.url, now.secret) == (endpoint.url, endpoint.secret)
    assert now.read_to >= 0
    assert User.objects.get(username="tess").check_password("told to those who try")


def test_the_ledger_is_append_only_again_afterwards(sandbox):
    anew()
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Movement.objects.update(quantity=1)


def test_twice_is_as_once(sandbox):
    anew()
    first = movements(), User.objects.count(), Site.objects.count()
    anew()
    assert (movements(), User.objects.count(), Site.objects.count()) == first


def test_a_night_that_fails_leaves_the_sandbox_as_it_was(sandbox, monkeypatch):
    make_user("integration", sandbox, "ordering")
    before = movements(), set(User.objects.values_list("username", flat=True))
    monkeypatch.setattr("planning.sandbox.actions._put_back", lambda kept: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        anew()
    assert (movements(), set(User.objects.values_list("username", flat=True))) == before
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Movement.objects.update(quantity=1)


def test_a_shop_that_is_no_sandbox_is_never_emptied(sandbox, settings):
    settings.SANDBOX = False
    with pytest.raises(CommandError, match="SANDBOX=1 is not set"):
        anew()
    assert Material.objects.exists()


def test_a_shop_of_ones_own_is_never_emptied(settings, site):
    settings.SANDBOX = True
    with pytest.raises(CommandError, match="holds a shop of its own"):
        anew()
    assert Site.objects.get() == site


def test_each_page_says_that_nothing_is_real(sandbox, client):
    client.force_login(User.objects.get(username="petra"))
    assert "Nothing here is real" in client.get("/today/").content.decode()


def test_no_page_says_so_elsewhere(sandbox, client, settings):
    settings.SANDBOX = False
    client.force_login(User.objects.get(username="petra"))
    assert not client.get("/api/v1/me").json()["sandbox"]
    assert "Sandbox" not in client.get("/today/").content.decode()


def test_the_timetable_makes_only_a_sandbox_anew():
    from planning.tasks import SCHEDULE

    assert "make the sandbox anew" not in SCHEDULE
