"""What a caller may ask of the service in one call, and how often somebody may try a password."""

import pytest
from django.db import connection
from django.http import QueryDict
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from rest_framework.exceptions import ParseError

from shared.access import lock
from shared.api.pagination import SignedCursor
from shared.api.parsing import MOST_MEMBERS, read_json
from shared.api.problems import MOST_PROBLEMS
from shop.ledger.models import Movement
from shop.lots.models import Lot
from tests.callers import caller, make_user

PASSWORD = "nine-words-nobody-guesses"


def members(count):
    return ("{" + ",".join(f'"k{n}":1' for n in range(count)) + "}").encode()


def test_an_object_of_thousands_of_members_is_refused_before_it_is_looked_through():
    assert len(read_json(members(MOST_MEMBERS))) == MOST_MEMBERS
    with pytest.raises(ParseError, match=r"60000 members; at most 200"):
        read_json(members(60_000))


def test_an_answer_names_so_many_problems_and_says_that_there_are_more(site):
    client = caller(make_user("administrator", site), [site])
    answer = client.post("/api/v1/sites", {f"k{n}": 1 for n in range(MOST_MEMBERS)})
    assert answer.status_code == 422
    found = answer.json()
    assert len(found["errors"]) == MOST_PROBLEMS
    assert found["detail"].startswith("The first 100 problems are named; there are more.")


def test_the_description_is_built_once_and_not_sent_again_to_who_has_it(client, db):
    first = client.get("/api/v1/openapi.json")
    again = client.get("/api/v1/openapi.json", HTTP_IF_NONE_MATCH=first["ETag"])
    assert (first.status_code, again.status_code, again.content) == (200, 304, b"")
    assert first.json()["openapi"] == "3.1.0"


def sql_of(queryset, sort):
    """Return the statement of the first page of a list."""

    class Request:
        query_params = QueryDict("limit=2")

    with CaptureQueriesContext(connection) as seen:
        SignedCursor().paginate_queryset(queryset.order_by(*sort), Request())
    return seen.captured_queries[0]["sql"]


def test_only_what_may_be_empty_is_told_to_come_last(db):
    """An order with NULLS LAST cannot be read from an index: the whole ledger would be sorted."""
    assert "NULLS LAST" not in sql_of(Movement.objects.all(), ["-id"])
    assert "NULLS LAST" not in sql_of(Movement.objects.all(), ["happened_at", "id"])
    assert "NULLS LAST" in sql_of(Lot.objects.all(), ["expires_on", "code"])
    assert "NULLS LAST" in sql_of(Lot.objects.all(), ["supplier__name"])
    assert "NULLS LAST" not in sql_of(Lot.objects.all(), ["material__code"])


def sign_in(name, password, address, **more):
    return Client().post(
        reverse("sign-in"), {"username": name, "password": password}, REMOTE_ADDR=address, **more
    )


@pytest.fixture
def user(site):
    person = make_user("technician", site)
    person.set_password(PASSWORD)
    person.save()
    return person


@pytest.fixture
def small_limits(monkeypatch):
    monkeypatch.setattr(lock, "MOST_FROM_AN_ADDRESS", 12)
    monkeypatch.setattr(lock, "MOST_FOR_A_NAME", 6)


def opened(answer):
    return answer.status_code == 302


def test_one_address_trying_many_names_is_stopped(small_limits, user):
    for number in range(12):
        sign_in(f"nobody{number}", "guess", "192.0.2.1")
    assert not opened(sign_in(user.username, PASSWORD, "192.0.2.1"))
    assert opened(sign_in(user.username, PASSWORD, "192.0.2.2"))


def test_a_name_tried_from_many_addresses_is_closed_to_strangers_and_not_to_its_owner(
    small_limits, user
):
    assert opened(sign_in(user.username, PASSWORD, "198.51.100.7"))
    for number in range(8):
        sign_in(user.username, "guess", f"192.0.2.{number}")
    assert not opened(sign_in(user.username, PASSWORD, "192.0.2.99"))
    assert opened(sign_in(user.username, PASSWORD, "198.51.100.7"))


def test_behind_a_proxy_the_lock_is_of_the_caller_and_a_made_up_header_changes_nothing(
    settings, user
):
    settings.PROXY_COUNT = 1
    for _ in range(settings.AXES_FAILURE_LIMIT):
        sign_in(user.username, "guess", "10.0.0.1", HTTP_X_FORWARDED_FOR="203.0.113.5, 192.0.2.1")
    header = "203.0.113.5, 192.0.2.1"
    assert not opened(sign_in(user.username, PASSWORD, "10.0.0.1", HTTP_X_FORWARDED_FOR=header))
    header = "192.0.2.1, 198.51.100.7"
    assert opened(sign_in(user.username, PASSWORD, "10.0.0.1", HTTP_X_FORWARDED_FOR=header))


def test_without_a_proxy_the_header_is_not_read(settings, user):
    settings.PROXY_COUNT = 0
    for number in range(settings.AXES_FAILURE_LIMIT):
        sign_in(user.username, "guess", "192.0.2.1", HTTP_X_FORWARDED_FOR=f"203.0.113.{number}")
    header = "198.51.100.7"
    assert not opened(sign_in(user.username, PASSWORD, "192.0.2.1", HTTP_X_FORWARDED_FOR=header))
