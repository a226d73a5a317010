import csv
import io
import sys
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.core.outlook import Supply, Use, project
from shop.outlook import table
from shop.outlook.queries import Stock
from tests.factories.purchasing import make_need, make_order, make_pack
from tests.factories.shop import make_container, make_lot

DAY0 = date(2026, 11, 25)
DAYS = 40
COLUMNS = ("in_date", "receipts", "reserved", "planned", "expired", "projected")

quantity = st.integers(0, 99_999_999).map(lambda n: n / 10_000)
day = st.integers(-3, DAYS + 4).map(lambda n: DAY0 + timedelta(days=n))
lasting = st.builds(Supply, st.sampled_from("ABCDEF"), quantity, st.none(), due_on=day)
sealed = st.builds(Supply, st.sampled_from("ABCDEF"), quantity, st.one_of(st.none(), day))
any_supply = st.builds(
    Supply,
    st.sampled_from("ABCDEF"),
    quantity,
    st.one_of(st.none(), day),
    st.booleans(),
    st.one_of(st.none(), day),
)
free = st.builds(Use, day, quantity, st.sampled_from(["P1", "P2", "P3"]))
any_use = st.builds(
    Use, day, quantity, st.sampled_from(["P1", "P2"]), st.one_of(st.none(), st.sampled_from("ABC"))
)
plain = st.builds(
    Stock,
    st.lists(st.one_of(sealed, lasting), max_size=8),
    st.lists(free, max_size=8, unique=True),
)
mixed = st.builds(Stock, st.lists(any_supply, max_size=8), st.lists(any_use, max_size=8))


def agree(stocks):
    frame = table.net(stocks, start=DAY0, days=DAYS)
    for pk, one in stocks.items():
        walked = project(one.supplies, one.uses, start=DAY0, days=DAYS)
        for name in COLUMNS:
            expected = [table.steps(q) for q in getattr(walked, name)]
            assert frame.loc[pk, name].tolist() == expected, (pk, name)
    return frame


@given(st.lists(plain, min_size=1, max_size=3), st.lists(mixed, max_size=2))
@settings(max_examples=40, deadline=None)
def test_the_table_says_to_the_last_step_what_walking_the_lots_says(running, walked):
    frame = agree(dict(enumerate([*running, *walked])))
    assert {str(kind) for kind in frame.dtypes} == {"int64"}


def test_ten_thousand_tenths_add_up_to_a_thousand_exactly():
    supplies = [Supply("A", 0.1, None) for _ in range(10_000)]
    frame = agree({7: Stock(supplies, [Use(DAY0, 1000.0, "P")])})
    assert frame.loc[(7, 0), "projected"] == 0


def test_months_take_the_last_day_the_sums_and_the_lowest():
    supplies = [Supply("A", 10.0, date(2026, 12, 31)), Supply("PO", 5.0, due_on=date(2026, 12, 5))]
    uses = [Use(date(2026, 12, 2), 12.5, "P")]
    months = table.by_month(table.net({1: Stock(supplies, uses)}, start=DAY0, days=60), DAY0).loc[
        1
    ]
    december = months.loc[date(2026, 12, 1)]
    assert [table.units(n) for n in december[["in_date", "receipts", "planned"]]] == [10, 5, 12.5]
    assert (table.units(december["projected"]), table.units(december["lowest"])) == (2.5, -2.5)


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen")
def test_the_year_is_a_page_two_files_and_a_call(api, browser_of, site):
    assert "Nothing to show" in browser_of("purchasing").get("/outlook/months/").content.decode()
    pack = make_pack()
    make_container(make_lot(site, pack.material), 3)
    make_need(site, pack.material, 10, 8.25)
    make_order(site, pack, packs=2, days=12)
    browser = browser_of("purchasing")
    page = browser.get("/outlook/months/?days=365").content.decode()
    assert page.count('<th scope="col" class="num">') == 13
    assert "4.750 kg" in page.replace("\N{NO-BREAK SPACE}", " ")
    (item,) = api("planner").get("/api/v1/outlook/months?days=365").json()["items"]
    assert item["months"][1] == {
        "month": "2026-12", "in_date": "3.0000", "receipts": "10.0000", "reserved": "0.0000",
        "planned": "8.2500", "expires_unused": "0.0000", "projected": "4.7500",
        "lowest": "-5.2500",
    }  # fmt: skip
    text = browser.get("/outlook/days.csv?days=30").content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert (len(rows), rows[10]["planned"], rows[12]["projected"]) == (30, "8.2500", "4.7500")
    assert browser.get("/outlook/months.xlsx").content[:2] == b"PK"
    assert browser.get("/outlook/months.ods").status_code == 404
    from openpyxl import load_workbook

    sheet = load_workbook(io.BytesIO(browser.get("/outlook/days.xlsx?days=30").content)).active
    lines = list(sheet.iter_rows(min_row=2, values_only=True))
    assert [str(n) for n in next(sheet.iter_rows(values_only=True))] == list(rows[0])
    for line, row in zip(lines, rows, strict=True):
        assert (*line[:2], line[2].date().isoformat()) == (row["material"], "kg", row["day"])
        assert list(line[3:]) == [float(figure) for figure in list(row.values())[3:]]
    assert browser.get("/outlook/days.ods").status_code == 404


@pytest.mark.django_db
def test_more_days_than_a_sheet_has_lines_leads_back_with_a_sentence(
    site, frozen, browser_of, monkeypatch
):
    make_need(site, make_pack().material, 9, 1)
    monkeypatch.setattr("shared.workbook._MOST_LINES", 20)
    answer = browser_of("technician").get("/outlook/days.xlsx?days=30", follow=True)
    assert answer.redirect_chain[0][0] == "/outlook/months/"
    assert "take it as CSV" in answer.content.decode()


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen")
def test_pages_that_show_no_table_of_all_days_never_load_the_table_library(
    browser_of, site, monkeypatch
):
    pack = make_pack()
    make_container(make_lot(site, pack.material), 3)
    make_need(site, pack.material, 10, 8)
    # None in the place of a module makes its import fail.
    monkeypatch.setitem(sys.modules, "pandas", None)
    browser = browser_of("purchasing")
    for address in (
        "/outlook/?days=365",
        f"/outlook/{pack.material_id}/?days=365",
        "/outlook/table.xlsx",
        "/buying/",
        "/stock/",
    ):
        assert browser.get(address).status_code == 200, address
    with pytest.raises(ImportError):
        browser.get("/outlook/months/")
