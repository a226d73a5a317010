"""Tokens over the API: none is wider than its maker, and a program has no person's judgement."""

from datetime import timedelta

import pytest

from shared import clock
from shared.access.models import AccessToken, CompanyMembership, Membership
from shared.api.access import access_of_user
from shared.api.models import IdempotencyKey
from shared.api.roles import PERSONAL, SCOPES
from shared.audit.models import AuditEntry
from tests.callers import Caller, caller, make_token, make_user

pytestmark = pytest.mark.django_db
TOKENS = "/api/v1/access-tokens"


def holding(secret):
    client = Caller()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


@pytest.fixture
def boss(site):
    return make_user("administrator", site)


@pytest.fixture
def system(site):
    return make_user("integration", site, "ordering")


def made(client, **body):
    asked = {"owner": "ordering", "name": "orders", "scopes": ["lots:read"], "sites": ["main"]}
    return client.post(TOKENS, {**asked, **body})


def test_a_token_is_made_used_given_a_new_secret_and_taken_back(boss, system, site, frozen):
    admin = caller(boss, [site])
    answer = made(admin)
    assert answer.status_code == 201
    assert answer["Cache-Control"] == "no-store"
    first, pk = answer.json()["secret"], answer.json()["id"]
    assert holding(first).get("/api/v1/lots").status_code == 200
    assert holding(first).get("/api/v1/movements").status_code == 403, "none by default"
    assert "secret" not in admin.get(f"{TOKENS}/{pk}").json()
    second = admin.post(f"{TOKENS}/{pk}/rotations", {"overlap_h": 2}).json()["secret"]
    assert [holding(s).get("/api/v1/lots").status_code for s in (first, second)] == [200, 200]
    frozen.shift(timedelta(hours=2))
    assert [holding(s).get("/api/v1/lots").status_code for s in (first, second)] == [401, 200]
    third = admin.post(f"{TOKENS}/{pk}/rotations", {"overlap_h": 0}).json()["secret"]
    assert [holding(s).get("/api/v1/lots").status_code for s in (second, third)] == [401, 200]
    assert admin.post(f"{TOKENS}/{pk}/revocations", {}).json()["revoked_at"]
    assert holding(third).get("/api/v1/lots").status_code == 401
    assert admin.post(f"{TOKENS}/{pk}/rotations", {}).json()["code"] == "token_revoked"
    kept = [*IdempotencyKey.objects.values_list("body", flat=True)]
    kept += [str(row) for row in AuditEntry.objects.values_list("before", "after")]
    assert kept
    assert not any(secret in text for text in kept for secret in (first, second, third))


def test_the_old_secret_of_a_token_taken_back_opens_nothing(boss, system, site):
    admin = caller(boss, [site])
    answer = made(admin).json()
    admin.post(f"{TOKENS}/{answer['id']}/rotations", {})
    assert holding(answer["secret"]).get("/api/v1/lots").status_code == 200
    admin.post(f"{TOKENS}/{answer['id']}/revocations", {})
    assert holding(answer["secret"]).get("/api/v1/lots").status_code == 401


@pytest.mark.parametrize(
    ("body", "status", "field"),
    [
        ({"scopes": ["movements:read"]}, 422, "#/scopes"),
        ({"scopes": ["lots:read", "accounts:write"]}, 201, None),
        ({"scopes": []}, 422, "#/scopes"),
        ({"sites": ["north"]}, 403, None),
        ({"sites": ["main", "north"]}, 403, None),
        ({"sites": ["nowhere"]}, 422, "#/sites"),
        ({"expires_at": "2026-12-31T00:00:00Z"}, 422, "#/expires_at"),
        ({"expires_at": None}, 422, "#/expires_at"),
        ({"owner": "nobody"}, 422, "#/owner"),
    ],
)
def test_a_token_makes_none_wider_than_itself(boss, site, other_site, frozen, body, status, field):
    Membership.objects.create(user=boss, site=other_site, role="administrator")
    narrow = {"accounts:read", "accounts:write", "lots:read"}
    secret = make_token(boss, [site], narrow)
    ends = clock.now() + timedelta(days=10)
    AccessToken.objects.update(expires_at=ends)
    asked = {"owner": boss.username, "expires_at": ends.isoformat(), **body}
    answer = made(holding(secret), **asked)
    assert answer.status_code == status, answer.content
    if field:
        assert answer.json()["errors"][0]["pointer"] == field
    assert AccessToken.objects.count() == (2 if status == 201 else 1)


def test_a_token_gives_no_new_secret_to_a_wider_one_and_does_not_see_it_elsewhere(
    boss, site, other_site
):
    Membership.objects.create(user=boss, site=other_site, role="administrator")
    narrow = holding(make_token(boss, [site], {"accounts:read", "accounts:write", "lots:read"}))
    make_token(boss, [site], SCOPES)
    wider = AccessToken.objects.latest("pk")
    make_token(boss, [site, other_site], {"lots:read"})
    elsewhere = AccessToken.objects.latest("pk")
    for way in ("rotations", "revocations"):
        assert narrow.post(f"{TOKENS}/{wider.pk}/{way}", {}).json()["code"] == "not_yours"
        assert narrow.post(f"{TOKENS}/{elsewhere.pk}/{way}", {}).status_code == 404
    listed = {row["id"] for row in narrow.get(TOKENS).json()["items"]}
    assert str(wider.pk) in listed
    assert str(elsewhere.pk) not in listed
    assert not AccessToken.objects.exclude(revoked_at=None).exists()


def test_a_token_is_only_ever_made_narrower(boss, system, site, other_site):
    Membership.objects.create(user=boss, site=other_site, role="administrator")
    Membership.objects.create(user=system, site=other_site, role="integration")
    admin = caller(boss, [site, other_site])
    row = made(admin, scopes=["lots:read", "tools:read"], sites=["main", "north"]).json()
    address, tag = f"{TOKENS}/{row['id']}", row["etag"]
    wider = admin.patch(address, {"scopes": ["lots:read", "plans:read"]}, etag=tag)
    assert wider.status_code == 422
    less = admin.patch(address, {"scopes": ["tools:read"], "sites": ["main"]}, etag=tag).json()
    assert (less["scopes"], less["sites"]) == (["tools:read"], ["main"])
    back = admin.patch(address, {"sites": ["main", "north"]}, etag=less["etag"])
    assert back.json()["errors"][0]["code"] == "beyond_token"
    stale = admin.patch(address, {"name": "x"}, etag=tag)
    assert stale.status_code == 412
    used = holding(row["secret"])
    assert used.get("/api/v1/tools").status_code == 200
    assert used.get("/api/v1/lots").status_code == 403


def test_a_key_sent_with_either_secret_is_one_key(boss, site):
    secret = make_token(boss, [site])
    pk = AccessToken.objects.get().pk
    key = {"Idempotency-Key": "one-key-of-two-secrets"}
    sent = {"code": "east", "name": "East"}
    first = holding(secret).post("/api/v1/sites", sent, headers=key)
    new = holding(secret).post(f"{TOKENS}/{pk}/rotations", {}).json()["secret"]
    again = holding(new).post("/api/v1/sites", sent, headers=key)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert again["Idempotent-Replayed"] == "true"


def test_an_integration_never_holds_a_persons_judgement(system, site):
    Membership.objects.create(user=system, site=site, role="quality")
    Membership.objects.create(user=system, site=site, role="administrator")
    CompanyMembership.objects.create(user=system, role="administrator")
    access = access_of_user(system)
    held = access.scopes_by_site[site.pk] | access.for_all()
    assert held == SCOPES - PERSONAL
    assert caller(system, [site]).get("/api/v1/me").json()["sites"][0]["scopes"] == sorted(held)


PERSONAL_ACTS = [
    ("lots/1/releases", {}),
    ("lots/1/retests", {}),
    ("steps/1/waivers", {"reason": "x"}),
    ("catalogue-changes/1/releases", {}),
    ("purchase-proposals/1/approvals", {}),
    ("casting-quarantines/1/releases", {}),
]


@pytest.mark.parametrize(("path", "body"), PERSONAL_ACTS)
def test_no_integration_judges_for_a_person(system, boss, site, path, body):
    Membership.objects.create(user=system, site=site, role="administrator")
    refused = caller(system, [site]).post(f"/api/v1/{path}", body)
    assert refused.status_code == 403, refused.content
    assert caller(boss, [site]).post(f"/api/v1/{path}", body).status_code == 404, "a person may"


def test_a_program_for_all_sites_judges_at_none(boss, site):
    CompanyMembership.objects.create(user=boss, role="integration")
    assert access_of_user(boss).is_integration
    path, body = PERSONAL_ACTS[0]
    assert caller(boss, [site]).post(f"/api/v1/{path}", body).status_code == 403
    assert not access_of_user(boss).scopes_by_site[site.pk] & PERSONAL
