"""Which week the Week page opens on."""

from datetime import UTC, datetime

import pytest

from shared import clock
from shared.access.models import User

TUESDAY, FRIDAY = datetime(2026, 12, 1, 8, tzinfo=UTC), datetime(2026, 12, 4, 8, tzinfo=UTC)


@pytest.fixture
def opens_on(client, shop_site, monkeypatch):
    def ask(now):
        monkeypatch.setattr(clock, "now", lambda: now)
        client.force_login(User.objects.get(username="petra"))
        return client.get("/week/").url

    return ask


def test_the_week_opens_on_the_present_one_until_thursday(opens_on):
    assert opens_on(TUESDAY) == "/week/2026-W49/"
    assert opens_on(FRIDAY) == "/week/2026-W50/"


def test_a_planned_week_is_shown_to_its_end(opens_on, planned):
    planned()
    assert opens_on(FRIDAY) == "/week/2026-W49/"


@pytest.mark.parametrize("typed", ["²", "x", "", "-1"])
@pytest.mark.parametrize("address", ["/week/2026-W49/?plan={}", "/today/?who={}"])
def test_what_is_no_number_in_an_address_is_left_alone(client, shop_site, address, typed):
    client.force_login(User.objects.get(username="petra"))
    assert client.get(address.format(typed)).status_code == 200
