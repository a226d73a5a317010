import csv
import io
from datetime import date
from decimal import Decimal

import pytest

from shared.export import Column, csv_bytes, guarded, xlsx_bytes
from tests.shop.core.cases import params


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
