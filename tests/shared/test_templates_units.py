"""Figures as people read them, and the sentences behind hazard codes."""

import datetime as dt
from decimal import Decimal

import pytest
import time_machine
from django.utils import timezone

from shared import hazard_statements
from shared.templatetags import units


@pytest.mark.parametrize(
    ("filtered", "text"),
    [
        pytest.param(units.mass(Decimal("12.35")), "12.350 kg", id="kilograms, three decimals"),
        pytest.param(units.mass(Decimal("12.35"), 4), "12.3500 kg", id="as many as asked"),
        pytest.param(units.mass(None), "–", id="nothing is a dash, not zero"),
        pytest.param(units.mass(0), "0.000 kg", id="zero is a figure"),
        pytest.param(units.mass(Decimal("-0.00001")), "0.000 kg", id="no minus zero"),
        pytest.param(units.mass("text"), "–", id="no number, no figure"),
        pytest.param(units.mass(float("nan")), "–", id="not a number"),
        pytest.param(units.grams(Decimal("12.3456")), "12 346 g", id="thousands set apart"),
        pytest.param(units.grams(Decimal("0.0125"), 1), "12.5 g", id="tenths of a gram"),
        pytest.param(units.quantity(Decimal(3), "pc"), "3 pieces", id="pieces are whole"),
        pytest.param(units.quantity(Decimal("1.5"), "m2"), "1.50 m²", id="square metres"),
        pytest.param(units.celsius(Decimal("-4")), "−4.0 °C", id="a real minus sign"),
        pytest.param(units.percent(12.5), "12.5 %", id="share"),
        pytest.param(units.mm(Decimal("60")), "60.0 mm", id="millimetres"),
        pytest.param(units.minutes(95), "1 h 35 min", id="hours and minutes"),
        pytest.param(units.minutes(1440 * 2 + 60), "2 d 1 h", id="days, no empty minutes"),
        pytest.param(units.minutes(0), "0 min", id="no time at all"),
        pytest.param(units.minutes(-30), "−30 min", id="overdue"),
        pytest.param(units.minutes(dt.timedelta(hours=1, seconds=40)), "1 h 1 min", id="duration"),
        pytest.param(units.number(Decimal("2.345"), 2), "2.34", id="half to even"),
    ],
)
def test_figures_read(filtered, text):
    assert (
        filtered.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")
        == text
    )


def test_times_are_shown_in_the_site_s_zone():
    moment = dt.datetime(2026, 11, 30, 5, 45, tzinfo=dt.UTC)
    with timezone.override("Europe/Berlin"), time_machine.travel(moment):
        assert units.clock(moment) == "06:45"
        assert units.clock(moment, "America/New_York") == "00:45"
        assert units.moment(moment) == "Mon 30 Nov 06:45"
        assert units.moment(moment.replace(year=2025)) == "Sun 30 Nov 2025 06:45"
        assert units.day(dt.datetime(2026, 11, 30, 23, 30, tzinfo=dt.UTC)) == "Tue 1 Dec 2026"
        assert units.day(dt.date(2026, 11, 30)) == "Mon 30 Nov 2026"
    assert units.clock(None) == units.day("") == units.moment(None) == "–"


def test_each_statement_is_listed_once_and_none_is_dropped():
    lines = hazard_statements.lines(["H317", " h314 ", "H317", "H999", "H302+H312"])
    assert [code for code, _ in lines] == ["H302+H312", "H314", "H317", "H999"]
    words = dict(lines)
    assert words["H302+H312"] == "Harmful if swallowed. Harmful in contact with skin."
    assert "safety data sheet" in words["H999"]
