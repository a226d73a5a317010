"""Public holidays: days of published calendars, chosen by page."""

from datetime import date

import pytest

from shared.errors import Invalid
from shop.setup import holidays
from shop.sites.models import ClosedDay

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]
TODAY = date(2026, 11, 30)


def test_days_that_calendars_print():
    # From memory: 1 January everywhere; Easter Monday 2027 is 29 March; Epiphany in Bavaria only.
    bavaria = dict(holidays.public("DE", "BY", 2027, TODAY))
    berlin = dict(holidays.public("DE", "BE", 2027, TODAY))
    assert {date(2027, 1, 1), date(2027, 3, 29)} <= bavaria.keys() & berlin.keys()
    assert date(2027, 1, 6) in bavaria
    assert date(2027, 1, 6) not in berlin
    assert all(day.year == 2027 for day in bavaria)


@pytest.mark.parametrize(
    ("country", "region", "year", "words"),
    [
        ("XX", "", 2027, "choose one listed"),
        ("DE", "ZZ", 2027, "known are"),
        ("DE", "", 2025, "2026 to 2029"),
        ("DE", "", 2030, "2026 to 2029"),
    ],
)
def test_what_is_not_known_is_refused_in_words(country, region, year, words):
    with pytest.raises(Invalid, match=words):
        holidays.public(country, region, year, TODAY)


@pytest.mark.parametrize("language", ["", "de_DE.UTF-8", "C.UTF-8"])
def test_names_are_english_whatever_the_server_speaks(monkeypatch, language):
    for name in ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(name, raising=False)
    if language:
        monkeypatch.setenv("LANG", language)
    found = dict(holidays.public("DE", "BE", 2027, TODAY))
    assert found[date(2027, 3, 29)] == "Easter Monday"


def test_the_days_chosen_are_closed_once(browser_of, site, other_site):
    client = browser_of("planner")
    address = "/setup/closed-days/public/"
    page = client.get(address, {"country": "DE", "region": "BE", "year": "2027"})
    assert "Easter Monday" in page.content.decode()
    ClosedDay.objects.create(site=site, day=date(2027, 1, 1), reason="ours")
    body = {"country": "DE", "region": "BE", "year": "2027"}
    days = ["2027-01-01", "2027-03-29", "2027-07-07"]
    for _ in range(2):
        assert client.post(address, body | {"day": days}).status_code == 302
    rows = list(ClosedDay.objects.order_by("day").values_list("site", "day", "reason"))
    assert [(s, d) for s, d, _ in rows] == [
        (site.pk, date(2027, 1, 1)), (site.pk, date(2027, 3, 29)),
    ]  # fmt: skip
    assert rows[0][2] == "ours"


def test_odd_input_is_told(browser_of):
    client = browser_of("planner")
    for body in ({"country": "DE", "year": "next"}, {"country": "<b>", "year": "2027"}):
        answer = client.post("/setup/closed-days/public/", body)
        assert answer.status_code == 422
    assert (
        "must be 2026 to"
        in client.post(
            "/setup/closed-days/public/", {"country": "DE", "year": "-1"}
        ).content.decode()
    )
    assert not ClosedDay.objects.exists()
