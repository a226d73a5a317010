"""What is to go says so in every answer; RFC 9745 and RFC 8594 say how."""

from datetime import UTC, date, datetime
from email.utils import parsedate_to_datetime

import pytest
from rest_framework.response import Response
from rest_framework.test import APIRequestFactory, force_authenticate

from shared.api import viewsets
from shared.api.leaving import Leaving
from tests.callers import make_user

pytestmark = pytest.mark.django_db
LEAVES = Leaving(since=date(2023, 6, 30), gone=date(2024, 6, 30), instead="/api/v1/lots")


class Old(viewsets.ScopedView):
    scope_noun = "lots"
    leaving = LEAVES

    def get(self, request):
        return Response({}, headers={"Link": '<http://testserver/x>; rel="next"'})


def asked(user=None):
    request = APIRequestFactory().get("/api/v1/old")
    if user:
        force_authenticate(request, user)
    return Old.as_view()(request)


@pytest.mark.parametrize("known", [True, False])
def test_every_answer_tells_it_refusals_too(site, known):
    answer = asked(make_user("planner", site) if known else None)
    assert answer.status_code == (200 if known else 401)
    # RFC 9745, 2.1: a structured date, seconds since 1970 behind an @.
    since = int(answer["Deprecation"].removeprefix("@"))
    assert datetime.fromtimestamp(since, UTC) == datetime(2023, 6, 30, tzinfo=UTC)
    # RFC 8594, 3: an HTTP date, which is in GMT (RFC 9110, 5.6.7).
    assert answer["Sunset"] == "Sun, 30 Jun 2024 00:00:00 GMT"
    assert parsedate_to_datetime(answer["Sunset"]) == datetime(2024, 6, 30, tzinfo=UTC)
    links = answer["Link"].split(", ")
    assert '<http://testserver/api-changes/>; rel="deprecation"' in links
    assert '<http://testserver/api/v1/lots>; rel="successor-version"' in links
    assert ('<http://testserver/x>; rel="next"' in links) is known


def test_what_is_to_go_stays_a_year():
    with pytest.raises(ValueError, match="a year or more"):
        Leaving(since=date(2027, 1, 1), gone=date(2027, 12, 1))


def test_nothing_else_tells_it(api):
    assert "Deprecation" not in api("planner").get("/api/v1/lots")


def test_the_page_of_changes_is_open_to_everybody_and_linked(client):
    page = client.get("/api-changes/")
    assert page.status_code == 200
    assert b"POST /access-tokens" in page.content
    assert b"/api-changes/" in client.get("/problems/").content
