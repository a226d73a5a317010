"""One key, one effect: the table of cases, one test each (IETF HTTPAPI draft, Idempotency-Key)."""

import json
import re
import threading
from datetime import timedelta

import pytest
from django.db import OperationalError, connection

from shared.access import actions, views
from shared.access.models import Site
from shared.api import idempotency
from shared.api.models import IdempotencyKey
from shared.errors import ShopError
from tests.callers import caller, fresh_key, make_site, make_token, make_user
from tests.reference_cases import asserts, case

SITES = "/api/v1/sites"
SENT = {"code": "east", "name": "East"}


FILE = "interchange_checks.csv"


def status_of(row):
    """The first status that a row in words asks for."""
    return int(re.search(r"[1-5]\d\d", case(FILE, row).expected)[0])


def post(client, key, sent=SENT, path=SITES):
    return client.post(path, sent, headers={"Idempotency-Key": key} if key else {})


@asserts(FILE, "HT-08")
def test_without_a_key_nothing_happens(api):
    client = api()
    response = super(type(client), client).post(SITES, SENT)
    assert response.status_code == status_of("HT-08") == 400
    assert response.json()["code"] == "idempotency_key_missing"
    assert response["Content-Type"] == "application/problem+json"
    assert not Site.objects.filter(code="east").exists()


@pytest.mark.parametrize("key", ["short", "with space in the middle", "x" * 256, "é" * 16])
def test_a_key_of_another_form_is_refused(api, key):
    response = post(api(), key)
    assert (response.status_code, response.json()["code"]) == (400, "idempotency_key_malformed")


@asserts(FILE, "HT-11")
def test_a_repeat_gets_the_same_answer_and_does_nothing(api):
    row = case(FILE, "HT-11")
    assert "each repeat returns the stored status and body of the first" in row.expected
    client, key = api(), fresh_key()
    first, *others, second = [post(client, key) for _ in range(row.inputs["repeat"])]
    assert all(other.content == first.content for other in others)
    assert first.status_code == second.status_code == 201
    assert first.content == second.content
    assert "Idempotent-Replayed" not in first
    assert second["Idempotent-Replayed"] == "true"
    for header in ("Location", "ETag"):
        assert first[header] == second[header]
    assert Site.objects.filter(code="east").count() == 1


def test_the_quoted_form_is_the_same_key(api):
    client, key = api(), fresh_key()
    post(client, key)
    assert post(client, f'"{key}"')["Idempotent-Replayed"] == "true"


def test_the_order_of_members_does_not_matter(api):
    client, key = api(), fresh_key()
    post(client, key)
    again = post(client, key, dict(reversed(SENT.items())))
    assert again["Idempotent-Replayed"] == "true"


@asserts(FILE, "HT-09")
def test_the_same_key_with_another_body_moves_nothing(api):
    client, key = api(), fresh_key()
    post(client, key)
    other = post(client, key, {"code": "west", "name": "West"})
    assert other.status_code == status_of("HT-09") == 422
    assert other.json()["code"] == "idempotency_key_used"
    assert not Site.objects.filter(code="west").exists()


def test_a_refused_body_leaves_the_key_free(api):
    client, key = api(), fresh_key()
    assert post(client, key, {"code": "b r", "name": "X"}).status_code == 422
    assert not IdempotencyKey.objects.exists()
    assert post(client, key).status_code == 201


def test_a_fault_leaves_the_key_free_and_nothing_behind(api, monkeypatch):
    client, key = api(), fresh_key()
    client.raise_request_exception = False
    honest = views.SiteViewSet.perform_create

    def fail_at_the_end(self, serializer):
        honest(self, serializer)
        raise RuntimeError("after the row was written")

    monkeypatch.setattr(views.SiteViewSet, "perform_create", fail_at_the_end)
    assert post(client, key).status_code == 500
    assert not Site.objects.filter(code="east").exists()
    monkeypatch.undo()
    assert post(client, key).status_code == 201


def test_a_business_refusal_is_kept_so_that_a_retry_brings_no_surprise(api, monkeypatch):
    client, key = api(), fresh_key()
    honest = actions.add_site

    def short(**values):
        honest(**values)
        raise ShopError("Only 3.1 kg are left.", "not_enough_stock", short_kg="1.1")

    monkeypatch.setattr(actions, "add_site", short)
    first = post(client, key)
    assert first.status_code == 409
    assert not Site.objects.filter(code="east").exists(), "the refused work is undone"
    monkeypatch.undo()
    second = post(client, key)
    assert second.status_code == 409
    assert second["Idempotent-Replayed"] == "true"
    assert second["Content-Type"] == "application/problem+json"
    assert second.json() == first.json()


def test_keys_belong_to_a_token(site):
    user = make_user("administrator", site)
    key = fresh_key()
    assert post(caller(user, [site]), key).status_code == 201
    # Whoever opens a site belongs to it; a token for all sites must name the new one as well.
    other = post(caller(user, list(Site.objects.all())), key, {"code": "west", "name": "West"})
    assert other.status_code == 201


def test_old_keys_are_forgotten(api, frozen):
    client, key = api(), fresh_key()
    post(client, key)
    frozen.shift(timedelta(days=29))
    assert idempotency.forget_old() == 0
    frozen.shift(timedelta(days=2))
    assert idempotency.forget_old() == 1


def test_a_first_request_that_still_runs_is_said_to_run(api, monkeypatch):
    """PostgreSQL breaks the wait on the unique index off with SQLSTATE 55P03."""

    class Broken(Exception):
        sqlstate = "55P03"

    def wait(**values):
        raise OperationalError("canceling statement due to lock timeout") from Broken()

    monkeypatch.setattr(IdempotencyKey.objects, "create", wait)
    response = post(api(), fresh_key())
    assert (response.status_code, response.json()["code"]) == (409, "still_running")
    assert response["Retry-After"] == "1"


def together(count, work):
    """Run `work(n)` in as many threads at once; return what each gave back."""
    gate, found = threading.Barrier(count), [None] * count

    def run(number):
        try:
            gate.wait(30)
            found[number] = work(number)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    return found


@asserts(FILE, "HT-10")
@pytest.mark.django_db(transaction=True)
def test_fifty_equal_requests_at_once_have_one_effect():
    site = make_site("main", is_default=True)
    user, key = make_user("administrator", site), fresh_key()
    secret = make_token(user, [site])

    def ask(_):
        client = caller(None)
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
        response = post(client, key)
        return response.status_code, response.content, "Idempotent-Replayed" in response

    assert case(FILE, "HT-10").expected.startswith("one 201, the other 409 problem+json")
    answers = together(50, ask)
    assert Site.objects.filter(code="east").count() == 1
    assert {status for status, _, _ in answers} <= {201, 409}
    done = [answer for answer in answers if answer[0] == 201]
    assert len({body for _, body, _ in done}) == 1
    assert sum(not replayed for _, _, replayed in done) == 1
    for status, body, _ in answers:
        assert status == 201 or json.loads(body)["code"] == "still_running"


@pytest.mark.django_db(transaction=True)
def test_twenty_writers_with_one_tag_make_one_change():
    site = make_site("main", is_default=True)
    secret = make_token(make_user("administrator", site), [site])
    address, tag = f"{SITES}/{site.pk}", f'"{site.pk}-1"'

    def write(number):
        client = caller(None)
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
        return client.patch(address, {"name": f"Name {number}"}, etag=tag).status_code

    answers = together(20, write)
    assert sorted(answers) == [200] + [412] * 19
    site.refresh_from_db()
    assert site.version == 2
