"""Every change of master data says who, when, from what to what."""

import pytest
from django.core.management import call_command
from django.db import DatabaseError, transaction

from shared.access.models import Membership, User
from shared.audit.models import AuditEntry
from tests.callers import make_user
from tests.conftest import NOON

SITES = "/api/v1/sites"


def test_a_change_over_rest_is_entered_with_both_values(api, site, frozen):
    client = api()
    client.patch(f"{SITES}/{site.pk}", {"expected_c": "21.5"}, etag="*")
    entry = AuditEntry.objects.get(kind="shared.site")
    assert (entry.action, entry.object_id, entry.site_id) == ("changed", site.pk, site.pk)
    assert (entry.before, entry.after) == ({"expected_c": "20.0"}, {"expected_c": "21.5"})
    assert entry.username.startswith("administrator-main")
    assert entry.token.startswith("shop_")
    assert entry.at == NOON
    assert len(entry.request_id) == 32


def test_an_addition_and_a_deletion_are_entered(api, site):
    client = api()
    made = client.post("/api/v1/mixers", {"code": "M1", "name": "Mixer", "largest_kg": "30"})
    assert made.status_code == 201, made.content
    client.delete(f"/api/v1/mixers/{made.json()['id']}", etag=made["ETag"])
    entries = AuditEntry.objects.filter(kind="shop.mixer").order_by("id")
    assert [entry.action for entry in entries] == ["added", "deleted"]
    assert entries[0].after["largest_kg"] == entries[1].before["largest_kg"]
    assert entries[0].before == entries[1].after == {}


def test_a_change_that_changes_nothing_or_is_refused_is_not_entered(api, site):
    client = api()
    client.patch(f"{SITES}/{site.pk}", {"name": site.name}, etag="*")
    client.patch(f"{SITES}/{site.pk}", {"expected_c": "99"}, etag="*")
    client.patch(f"{SITES}/{site.pk}", {"name": "New"}, etag='"9-9"')
    assert not AuditEntry.objects.exists()


def test_roles_and_tokens_given_on_pages_are_entered_without_secrets(browser_of, site):
    browser = browser_of("administrator")
    form = {"username": "nils", "password": "seven green lathes", "roles": ["technician"]}
    browser.post("/people/add/", form)
    person = User.objects.get(username="nils")
    browser.post(
        f"/people/{person.pk}/tokens/", {"token-name": "x", "token-scopes": ["lots:read"]}
    )
    token = person.tokens.get()
    browser.post(f"/people/{person.pk}/tokens/{token.pk}/")
    kinds = [(e.kind, e.action) for e in AuditEntry.objects.order_by("id")]
    assert kinds == [
        ("shared.user", "added"),
        ("shared.membership", "added"),
        ("shared.accesstoken", "added"),
        ("shared.accesstoken", "changed"),
    ]
    everything = str(list(AuditEntry.objects.values_list("before", "after")))
    assert token.digest not in everything
    assert "seven green lathes" not in everything
    assert person.password not in everything
    assert b"nils" in browser.get("/audit/").content


def test_what_no_caller_did_is_not_entered(site):
    make_user("planner", site)
    call_command("access_token", "ordering")
    assert not AuditEntry.objects.exists()


@pytest.mark.parametrize("verb", ["update", "delete"])
def test_entries_can_be_neither_edited_nor_deleted(api, site, verb):
    api().patch(f"{SITES}/{site.pk}", {"name": "New"}, etag="*")
    rows = AuditEntry.objects.all()
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        rows.update(username="somebody else") if verb == "update" else rows.delete()
    assert AuditEntry.objects.get().username.startswith("administrator")


def test_quality_reads_the_audit_of_its_own_site_only(api, site, other_site):
    api().patch(f"{SITES}/{site.pk}", {"name": "New"}, etag="*")
    here = api("quality").get("/api/v1/audit-entries?kind=shared.site").json()["items"]
    assert [(e["action"], e["site"], e["object_id"]) for e in here] == [
        ("changed", "main", str(site.pk))
    ]
    there = api("quality", at=other_site).get("/api/v1/audit-entries").json()["items"]
    assert there == []
    assert Membership.objects.filter(role="quality").count() == 2
    assert api("planner").get("/api/v1/audit-entries").status_code == 403
