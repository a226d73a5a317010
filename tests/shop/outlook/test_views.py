import csv
import io
import json
from datetime import date

import pytest
from django.core.management import CommandError, call_command

from shop.core.axis import nice
from shop.core.outlook import Supply, Use, project
from shop.outlook.picture import picture
from tests.factories.purchasing import make_need, make_order, make_pack
from tests.factories.shop import make_container, make_lot, make_material

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


@pytest.fixture
def short(site):
    pack = make_pack(make_material(name="=cmd()", code="RES-1"))
    make_container(make_lot(site, pack.material), 3)
    make_need(site, pack.material, 10, 8, "P1")
    return pack


def test_the_call_names_the_pour_the_day_and_the_last_order(api, short):
    answer = api("technician").get("/api/v1/outlook?days=30")
    assert answer.status_code == 200, answer.content
    (row,) = answer.json()["items"]
    assert (row["state"], row["first_short_on"], row["last_order_on"]) == (
        "short", "2026-12-05", "2026-11-28",
    )  # fmt: skip
    assert row["short_pours"] == [
        {
            "pour": "P1", "day": "2026-12-05", "short": "5.0000", "never_met": "5.0000",
            "made_good_on": None,
        }
    ]  # fmt: skip
    assert (row["short_pours_count"], row["at_risk_count"]) == (1, 0)
    assert "days" not in row


def test_one_material_comes_day_by_day(api, short):
    answer = api("planner").get(f"/api/v1/outlook?days=14&material={short.material_id}")
    (row,) = answer.json()["items"]
    assert len(row["days"]) == 14
    assert row["days"][10] == {
        "day": "2026-12-05", "in_date": "3.0000", "receipts": "0.0000", "reserved": "0.0000",
        "planned": "8.0000", "expires_unused": "0.0000", "short": "5.0000",
        "projected": "-5.0000",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("days=0", "days is '0'; give a whole number of days, 1 to 730"),
        ("days=1e3", "days is '1e3'"),
        ("days=٣", "days is"),
        ("material=7777", "material is '7777'"),
        ("site=elsewhere", "site is 'elsewhere'"),
        ("colour=red", "'colour' is not a parameter here"),
    ],
)
def test_parameters_that_mean_nothing_are_refused(api, short, query, words):
    answer = api("planner").get(f"/api/v1/outlook?{query}")
    assert answer.status_code == 400
    assert words in answer.json()["detail"]


def test_the_tables_to_take_away_hold_the_same_figures_and_no_formula(browser_of, short):
    browser = browser_of("technician")
    text = browser.get("/outlook/table.csv?days=30").content.decode("utf-8-sig")
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert (row["material"], row["name"], row["short"]) == ("RES-1", "'=cmd()", "5.0000")
    from openpyxl import load_workbook

    data = browser.get(f"/outlook/{short.material_id}/table.xlsx?days=30").content
    sheet = load_workbook(io.BytesIO(data)).active
    assert sheet["A1"].value == "day"
    assert sheet.max_row == 31
    assert sheet[12][7].value == -5
    assert browser.get("/outlook/table.ods").status_code == 404


def test_what_runs_short_and_expires_counts_as_both(api, browser_of, site, short):
    lot = make_lot(site, short.material, expires_on=date(2026, 11, 27))
    make_container(lot, 3)
    found = api("planner").get("/api/v1/outlook?days=30").json()
    assert found["counts"] == {"short": 1, "expiring": 1, "ok": 0}
    browser = browser_of("purchasing")
    for state, shown in {"short": True, "expiring": True, "ok": False}.items():
        page = browser.get(f"/outlook/?days=30&state={state}").content.decode()
        assert ("RES-1" in page) is shown, state


def test_pages_show_the_shortage_and_a_picture_with_words(browser_of, site, short):
    browser = browser_of("purchasing")
    page = browser.get("/outlook/?state=short").content.decode()
    assert "P1: 5.000" in page
    assert "=cmd()" in page
    assert "P1: 5.000" not in browser.get("/outlook/?state=ok").content.decode()
    make_order(site, short, packs=1, days=4)
    one = browser.get(f"/outlook/{short.material_id}/").content.decode()
    assert "<polyline" in one
    assert "Short from" not in one  # five more kilograms are due before the pour
    assert "Stock from 3 kg" in one
    assert "days is &#x27;x&#x27;" in browser.get("/outlook/?days=x").content.decode()


def test_the_command_prints_lines_and_json(site, short, capsys):
    call_command("stock_outlook", "--days", "30")
    line = capsys.readouterr().out
    assert line.startswith("RES-1: 3.000 kg in date, short from 2026-12-05 by 5.000 kg for P1")
    assert "order by 2026-11-28" in line
    call_command("stock_outlook", "--days", "30", "--material", "RES-1", "--json")
    found = json.loads(capsys.readouterr().out)
    assert found["items"][0]["days"][10]["projected"] == "-5.0000"
    with pytest.raises(CommandError, match="days is '0'"):
        call_command("stock_outlook", "--days", "0")
    with pytest.raises(CommandError, match="material is 'NO'"):
        call_command("stock_outlook", "--material", "NO")
    with pytest.raises(CommandError, match="known: main"):
        call_command("stock_outlook", "--site", "nowhere")


def test_the_picture_steps_down_at_the_use_and_marks_the_first_short_day():
    start = date(2026, 11, 25)
    ahead = project([Supply("A", 10.0)], [Use(date(2026, 11, 27), 14.0, "P")], start=start, days=4)
    drawn = picture(ahead, "kg")
    heights = [float(p.split(",")[1]) for p in drawn.steps.split()]
    assert heights[0] == heights[4] < drawn.zero_y < heights[-1]
    assert drawn.left < drawn.short_x < drawn.right
    assert drawn.words == (
        "Stock from 10 kg on 2026-11-25 to -4 kg on 2026-11-28. Short from 2026-11-27."
    )


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0, 0), (0.03, 0.05), (1, 1), (1.1, 2), (23, 25), (99, 100), (4600, 5000)],
)
def test_axes_end_at_round_figures(value, expected):
    assert nice(value) == pytest.approx(expected)
