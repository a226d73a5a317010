"""People, roles and tokens: pages, commands, and what each of them refuses."""

import importlib
import json
import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings
from django.core.management import CommandError, call_command
from django.test import Client

from planning.reminders.models import Reminder
from shared import clock
from shared.access import actions
from shared.access.models import AccessToken, CompanyMembership, Membership, Site, User
from shared.api.access import access_of_token, access_of_user
from shared.api.authentication import digest
from shared.api.roles import ROLES, SCOPES
from shared.errors import Invalid, ShopError
from shop.demo import load_shop
from shop.materials.models import Pack
from shop.materials.suppliers import Supplier
from tests.callers import caller, make_site, make_token, make_user
from tests.conftest import NOON

BACKEND = "django.contrib.auth.backends.ModelBackend"


def test_roles_may_read_whatever_they_may_change():
    for role, scopes in ROLES.items():
        for scope in scopes:
            noun, _, verb = scope.partition(":")
            assert verb == "read" or f"{noun}:read" in scopes, role


def test_only_administrators_touch_accounts_and_only_purchasing_approves():
    holders = {s: {r for r, held in ROLES.items() if s in held} for s in SCOPES}
    assert holders["accounts:write"] == holders["accounts:read"] == {"administrator"}
    assert holders["approvals:write"] == {"purchasing", "administrator"}
    assert holders["audit:read"] == {"quality", "administrator"}
    assert "technician" not in holders["prices:read"]


def test_signing_in_and_out(site):
    User.objects.create_user("tess", password="long enough words")
    client = Client()
    assert client.get("/people/").headers["Location"] == "/sign-in/?next=/people/"
    wrong = client.post("/sign-in/", {"username": "tess", "password": "guess"})
    assert b"correct" in wrong.content
    right = client.post("/sign-in/", {"username": "tess", "password": "long enough words"})
    assert right.status_code == 302
    assert client.get("/people/").status_code == 403, "signed in, but without a role"
    assert client.get("/sign-out/").status_code == 405, "a link must not sign anybody out"
    client.post("/sign-out/")
    assert client.get("/people/").status_code == 302


def test_ten_wrong_passwords_close_the_door_for_a_while(db):
    User.objects.create_user("tess", password="long enough words")
    client = Client()
    for _ in range(10):
        last = client.post("/sign-in/", {"username": "tess", "password": "guess"})
    assert last.status_code == 429
    right = client.post("/sign-in/", {"username": "tess", "password": "long enough words"})
    assert right.status_code == 429
    assert b"Wait 15 minutes" in right.content
    other = client.post("/sign-in/", {"username": "timo", "password": "guess"})
    assert other.status_code == 200, "others may still try"


def test_the_cookie_opens_the_api_only_with_the_csrf_token(site):
    user = make_user("administrator", site)
    client = Client(enforce_csrf_checks=True)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/api/v1/me").json()["username"] == user.username
    sent = {"code": "east", "name": "East"}
    key = {"Idempotency-Key": "cookie-test-0000001"}
    refused = client.post("/api/v1/sites", sent, "application/json", headers=key)
    assert refused.status_code == 403
    page = client.get("/people/add/")
    token = re.search(rb'csrfmiddlewaretoken" value="([^"]+)"', page.content)[1].decode()
    done = client.post(
        "/api/v1/sites", sent, "application/json", headers={**key, "X-CSRFToken": token}
    )
    assert done.status_code == 201


def test_an_administrator_adds_a_person_on_the_page(browser_of, site):
    browser = browser_of("administrator")
    form = {"username": "nils", "password": "password", "roles": ["technician"]}
    weak = browser.post("/people/add/", form)
    assert b"too common" in weak.content
    assert not User.objects.filter(username="nils").exists()
    browser.post("/people/add/", {**form, "password": "seven green lathes"})
    person = User.objects.get(username="nils")
    assert access_of_user(person).scopes_by_site == {site.pk: ROLES["technician"]}
    again = browser.post("/people/add/", {**form, "username": "Nils", "password": "seven green"})
    assert b"is taken; choose another" in again.content
    assert b"nils" in browser.get("/people/").content


def test_a_token_is_shown_once_and_can_be_taken_back(browser_of, site):
    browser = browser_of("administrator")
    owner = make_user("integration", site)
    page = browser.post(
        f"/people/{owner.pk}/tokens/", {"token-name": "ordering", "token-scopes": ["lots:read"]}
    )
    secret = re.search(rb"shop_[\w-]{43}", page.content)[0].decode()
    assert page["Cache-Control"].startswith("max-age=0, no-cache, no-store")
    token = AccessToken.objects.get()
    assert (token.digest, token.prefix) == (digest(secret), secret[:12])
    assert secret.encode() not in browser.get(f"/people/{owner.pk}/").content
    client = Client()
    header = {"Authorization": f"Bearer {secret}"}
    assert client.get("/api/v1/lots", headers=header).status_code == 200
    assert client.get("/api/v1/movements", headers=header).status_code == 403
    browser.post(f"/people/{owner.pk}/tokens/{token.pk}/")
    assert client.get("/api/v1/lots", headers=header).status_code == 401


def test_a_token_may_do_no_more_than_its_owner(site):
    boss, tess = make_user("administrator", site), make_user("technician", site)
    with pytest.raises(Invalid, match="does not have plans:write at Site main"):
        actions.issue_token(
            owner=tess, name="x", sites=[site], scopes=["plans:write"], expires_at=None, by=boss
        )
    token, _ = actions.issue_token(
        owner=tess, name="x", sites=[site], scopes=["lots:read"], expires_at=None, by=boss
    )
    Membership.objects.filter(user=tess).update(role="tool_keeper")
    assert access_of_token(token).may("lots:read", site.pk)
    Membership.objects.filter(user=tess).delete()
    assert not access_of_token(token).may("lots:read")


def test_a_token_that_has_expired_already_is_refused(site):
    boss = make_user("administrator", site)
    with pytest.raises(Invalid, match="it is past"):
        actions.issue_token(
            owner=boss,
            name="x",
            sites=[site],
            scopes=["lots:read"],
            expires_at=clock.now() - timedelta(days=1),
            by=boss,
        )


def test_the_last_administrator_stays(browser_of, site):
    browser = browser_of("administrator")
    boss = User.objects.get()
    page = browser.post(f"/people/{boss.pk}/", {"roles": ["technician"], "is_active": "on"})
    assert b"is the last administrator of Site main; name another first" in page.content
    assert Membership.objects.get(user=boss).role == "administrator"
    page = browser.post(f"/people/{boss.pk}/", {"roles": ["administrator"]})
    assert b"last administrator" in page.content
    assert User.objects.get().is_active


def test_nobody_takes_over_a_person_who_also_belongs_elsewhere(site, other_site):
    boss, both = make_user("administrator", site), make_user("technician", site)
    Membership.objects.create(user=both, site=other_site, role="administrator")
    with pytest.raises(ShopError, match="also belongs to sites you do not run"):
        actions.set_password(person=both, password="seven green lathes", by=boss)
    with pytest.raises(ShopError, match="also belongs to sites you do not run"):
        actions.change_person(person=both, site=site, roles=[], is_active=False, by=boss)


def test_a_new_password_ends_other_sign_ins(browser_of, site):
    tess = make_user("technician", site)
    client = Client()
    client.force_login(tess, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/api/v1/me").status_code == 200
    browser_of("administrator").post(
        f"/people/{tess.pk}/password/", {"password": "seven green lathes"}
    )
    assert client.get("/api/v1/me").status_code in (401, 403)


def test_people_of_another_site_are_not_to_be_found(browser_of, other_site):
    stranger = make_user("technician", other_site)
    assert browser_of("administrator").get(f"/people/{stranger.pk}/").status_code == 404


def test_the_command_prints_a_working_token(site, capsys):
    call_command("access_token", "ordering-system", "--scope", "lots:read", "--days", "30")
    secret = capsys.readouterr().out.strip()
    client = caller(None)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    me = client.get("/api/v1/me").json()
    assert (me["username"], me["token"]) == ("ordering-system", secret[:12])
    assert me["sites"][0]["scopes"] == ["lots:read"]
    for wrong, words in (
        (["--scope", "all"], "There is no scope all"),
        (["--days", "0"], "it must be 1 to 3650"),
        (["--site", "south"], "there are: main"),
        (["--scope", "accounts:write"], "does not have accounts:write"),
    ):
        with pytest.raises(CommandError, match=words):
            call_command("access_token", "ordering-system", *wrong)


def test_a_token_of_other_sites_too_is_left_to_who_runs_them(site, other_site):
    """Somebody who works at two sites keeps the token of the other one."""
    person = make_user("planner", site)
    Membership.objects.create(user=person, site=other_site, role="technician")
    make_token(person, [site, other_site])
    boss = Client()
    boss.force_login(make_user("administrator", other_site), backend=BACKEND)
    token = person.tokens.get()
    boss.post(f"/people/{person.pk}/tokens/{token.pk}/")
    token.refresh_from_db()
    assert token.revoked_at is None
    boss.force_login(make_user("administrator", site, "both"), backend=BACKEND)
    Membership.objects.create(
        user=User.objects.get(username="both"), site=other_site, role="administrator"
    )
    boss.post(f"/people/{person.pk}/tokens/{token.pk}/")
    token.refresh_from_db()
    assert token.revoked_at is not None


def test_a_reminder_that_is_not_due_is_answered_in_words(site, browser_of, frozen):
    """A page left open asks for a reminder that has moved meanwhile."""
    reminder = Reminder.objects.create(
        site=site, key="r", kind="demould", subject="pour:1", title="Demould Q1",
        due_at=NOON, created_at=NOON, changed_at=NOON,
    )  # fmt: skip
    answer = browser_of("planner").post(f"/reminders/{reminder.pk}/take-up/", follow=True)
    assert answer.status_code == 200
    assert "Demould Q1” is not due yet" in answer.content.decode()


def test_the_catalogue_of_all_sites_is_not_changed_by_who_runs_one_of_them(site, other_site):
    """A pot life, an order address and a pack are what every site mixes and buys by."""
    data = json.loads(Path(settings.ROOT, "fixtures/demo/shop.json").read_text())
    load_shop(data, clock.now(), "a-demo-password")
    for at in Site.objects.all():
        boss = caller(make_user("administrator", at), [at])
        system = boss.get("/api/v1/resin-systems").json()["items"][0]
        changes = (
            ("resin-systems", system["id"], {"pot_life_min": "60.0"}, system["etag"]),
            ("suppliers", Supplier.objects.earliest("pk").pk, {"order_email": "a@b.example"}, "*"),
        )
        for name, pk, body, tag in changes:
            answer = boss.patch(f"/api/v1/{name}/{pk}", body, etag=tag)
            assert answer.status_code == 403, (name, answer.json())
            assert "for all sites" in answer.json()["detail"]
        pack = Pack.objects.earliest("pk").pk
        assert boss.delete(f"/api/v1/packs/{pack}").status_code == 403
        page = Client()
        page.force_login(make_user("administrator", at), backend=BACKEND)
        supplier = Supplier.objects.earliest("pk")
        for address in ("terms", "packs", "close"):
            path = f"/buying/suppliers/{supplier.pk}/{address}/"
            assert page.post(path).status_code == 403, address
        assert page.post("/buying/suppliers/add/").status_code == 403
        assert (
            page.post(f"/buying/packs/{Pack.objects.earliest('pk').pk}/remove/").status_code == 403
        )
        assert page.get("/buying/suppliers/").status_code == 200


def test_the_only_site_goes_on_as_before_and_a_second_takes_no_right_away(site):
    boss, buyer = make_user("administrator", site), make_user("purchasing", site)
    clients = [caller(one, [site]) for one in (boss, buyer)]
    for n, client in enumerate(clients):
        body = {"code": f"S{n}", "name": "Supplier"}
        assert client.post("/api/v1/suppliers", body).status_code == 201
    body = {"code": "north", "name": "North", "time_zone": "UTC"}
    assert clients[0].post("/api/v1/sites", body).status_code == 201
    held = set(CompanyMembership.objects.values_list("user", "role"))
    assert held == {(boss.pk, "administrator"), (buyer.pk, "purchasing")}
    assert access_of_user(buyer).may_for_all("materials:write")
    assert not access_of_user(buyer).may_for_all("accounts:write")
    assert caller(buyer, [site]).get("/api/v1/me").json()["all_sites"] == []
    assert clients[1].patch("/api/v1/suppliers/1", {}, etag="*").status_code != 403
    newcomer = make_user("administrator", Site.objects.get(code="north"))
    assert access_of_user(newcomer).for_all() == frozenset()


def test_roles_for_all_sites_are_given_by_who_holds_them(site, other_site):
    boss, chief, person = (make_user(role, site) for role in ("administrator",) * 2 + ("planner",))
    CompanyMembership.objects.create(user=chief, role="administrator")
    page = Client()
    page.force_login(boss, backend=BACKEND)
    path = f"/people/{person.pk}/all-sites/"
    assert page.post(path, {"company_roles": ["purchasing"]}).status_code == 403
    assert b"Roles for all sites" not in page.get(f"/people/{person.pk}/").content
    page.force_login(chief, backend=BACKEND)
    assert b"Roles for all sites" in page.get(f"/people/{person.pk}/").content
    assert page.post(path, {"company_roles": ["purchasing"]}).status_code == 302
    assert access_of_user(person).may_for_all("materials:write")
    assert page.post(path, {"company_roles": []}).status_code == 302
    assert not access_of_user(person).may_for_all("materials:write")


def test_the_migration_keeps_rights_that_were_plain(site):
    """With several sites: roles held at each of them, else who administers the default site."""
    give = importlib.import_module("shared.migrations.0005_roles_for_all_sites").give
    boss, north = make_user("administrator", site), None
    give(apps, None)
    assert CompanyMembership.objects.count() == 0, "one site needs no such role"
    north = make_site("north")
    buyer = make_user("purchasing", site)
    make_user("administrator", north)
    Membership.objects.create(user=buyer, site=north, role="purchasing")
    give(apps, None)
    give(apps, None)
    held = set(CompanyMembership.objects.values_list("user", "role"))
    assert held == {(buyer.pk, "purchasing"), (boss.pk, "administrator")}
