import csv
import io
from datetime import date
from decimal import Decimal

import pytest

from shared.errors import Invalid
from shared.export import Column, csv_bytes, guarded, xlsx_bytes
from tests.reference_cases import params


@pytest.mark.parametrize("case", params("interchange_checks.csv", "CSV-05", "CSV-06"))
def test_formula_guard_rows(case):
    found = guarded(case.inputs["value"], case.inputs["column_kind"])
    assert {"cell": found} == case.expected, case.source


@pytest.mark.parametrize("case", params("interchange_checks.csv", "CSV-01", "CSV-02"))
def test_quoting_rows(case):
    names, *rows = case.inputs["rows"]
    text = csv_bytes([Column(n) for n in names], rows).decode()
    assert text == case.expected["text"], case.source


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\0"])
def test_no_text_cell_can_be_run(start):
    data = csv_bytes([Column("label")], [[f"{start}1+1"]])
    assert list(csv.reader(io.StringIO(data.decode(), newline="")))[1] == [f"'{start}1+1"]


def test_numbers_days_and_nothing_keep_their_form():
    columns = [Column("code"), Column("kg", "number"), Column("day", "day")]
    data = csv_bytes(columns, [["R", Decimal("-5.2000"), date(2026, 12, 1)], ["S", None, None]])
    assert data == b"code,kg,day\r\nR,-5.2000,2026-12-01\r\nS,,\r\n"
    assert csv_bytes(columns, [], mark=True).startswith(b"\xef\xbb\xbfcode")


def test_a_workbook_holds_values_and_no_formula():
    from openpyxl import load_workbook

    columns = [Column("label"), Column("kg", "number"), Column("day", "day")]
    data = xlsx_bytes("Out/look", columns, [["=1+1", -2.5, date(2026, 12, 1)]])
    sheet = load_workbook(io.BytesIO(data)).active
    assert sheet.title == "Outlook"
    label, kg, day = sheet[2]
    assert (label.value, label.data_type) == ("=1+1", "s")
    assert (kg.value, kg.data_type) == (-2.5, "n")
    assert day.value.date() == date(2026, 12, 1)


def sheet_of(data):
    from openpyxl import load_workbook

    return load_workbook(io.BytesIO(data)).active


def test_every_kind_of_value_reads_back_from_a_workbook():
    columns = [Column("words"), *(Column(n, "number") for n in "abc"), Column("day", "day")]
    rows = [
        ['a < b & "c" ü µ\n next', 7, Decimal("-0.0001"), 1e-7, date(1900, 3, 1)],
        ["ctrl \x00\x07\ud800 out", 0, Decimal("99999999.9999"), None, date(1900, 2, 28)],
        ["  kept  ", None, Decimal("NaN"), float("inf"), None],
        [None, True, 3, 4, date(9999, 12, 31)],
    ]
    found = sheet_of(xlsx_bytes("[All]: 'days'/*?", columns, rows))
    assert found.title == "All days"
    assert found.freeze_panes == "A2"
    head, *cells = found.iter_rows()
    assert [c.value for c in head] == ["words", "a", "b", "c", "day"]
    assert all(c.font.bold for c in head)
    assert not any(c.data_type == "f" for row in cells for c in row)
    texts = [row[0].value for row in cells]
    assert texts == ['a < b & "c" ü µ\n next', "ctrl  out", "  kept  ", None]
    assert [c.value for c in cells[0][1:4]] == [7, -0.0001, 1e-7]
    assert [c.value for c in cells[1][1:]] == [0, 99999999.9999, None, "1900-02-28"]
    assert [c.value for c in cells[2][1:]] == [None, None, None, None]
    assert [cells[0][4].value.date(), cells[3][4].value.date()] == [
        date(1900, 3, 1), date(9999, 12, 31),
    ]  # fmt: skip


def test_the_same_table_gives_the_same_workbook_and_a_long_text_is_cut():
    columns = [Column("words")]
    data = xlsx_bytes("t", columns, [["x" * 40_000]])
    assert data == xlsx_bytes("t", columns, [["x" * 40_000]])
    assert len(sheet_of(data)["A2"].value) == 32_767


def test_a_table_with_more_lines_than_a_sheet_has_is_refused(monkeypatch):
    monkeypatch.setattr("shared.workbook._MOST_LINES", 4)
    assert sheet_of(xlsx_bytes("t", [Column("n", "number")], [[1]] * 3)).max_row == 4
    with pytest.raises(Invalid, match="more than 3 lines, the most a sheet holds"):
        xlsx_bytes("t", [Column("n", "number")], [[1]] * 4)
