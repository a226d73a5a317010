import base64

import pytest

from shared.csv_rows import rows_of
from shared.errors import Invalid
from tests.reference_cases import params


def read(data, **more):
    options = {"columns": ("sku", "qty_kg", "note"), "needed": ("sku",), "most_rows": 3, **more}
    return list(rows_of(data, **options))


@pytest.mark.parametrize("case", params("interchange_checks.csv", "CSV-03"))
def test_a_byte_order_mark_and_no_last_line_break(case):
    found = read(base64.b64decode(case.inputs["base64"]))
    header, *rows = case.expected["rows"]
    assert found == [(n, dict(zip(header, row, strict=True))) for n, row in enumerate(rows, 2)], (
        case.source
    )


def test_rows_without_text_are_passed_over_and_lines_count_as_an_editor_counts():
    data = b'sku,note\r\n\r\n , \r\nA,"two\r\nlines"\r\nB, x \r\n'
    assert read(data) == [
        (5, {"sku": "A", "note": "two\r\nlines"}),
        (6, {"sku": "B", "note": "x"}),
    ]


@pytest.mark.parametrize(
    ("cell", "number"), [("12,5", "12.5"), ("-0,25", "-0.25"), ("1250", "1250"), ("12.5", "12.5")]
)
def test_a_file_divided_by_semicolons_may_have_decimal_commas(cell, number):
    data = f"sku;qty_kg;note\r\nA;{cell};1,5 of it\r\n".encode()
    assert read(data, numbers=("qty_kg",)) == [
        (2, {"sku": "A", "qty_kg": number, "note": "1,5 of it"})
    ]


def test_a_number_with_two_readings_is_refused_with_both():
    with pytest.raises(Invalid) as refused:
        read(b"sku;qty_kg\r\nA;1.250\r\n", numbers=("qty_kg",))
    (problem,) = refused.value.problems
    assert problem.pointer == "#/rows/2/qty_kg"
    assert "can be read as 1250 or as 1,250" in problem.detail
    assert read(b"sku,qty_kg\r\nA,1.250\r\n", numbers=("qty_kg",))[0][1]["qty_kg"] == "1.250"


def test_cells_pasted_from_a_table_are_divided_by_tabs():
    assert read(b"sku\tnote\nA\tx, y; z\n") == [(2, {"sku": "A", "note": "x, y; z"})]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "Missing: sku"),
        (b"sku\r\n", "no rows below its header"),
        (b"sku,colour\r\nA,B\r\n", "Unknown: colour"),
        (b"sku,note,note\r\nA,B,C\r\n", "Named twice: note"),
        (b"sku,\r\nA,B\r\n", "(no name)"),
        (b"sku,note\r\nA\r\n", "Line 2 has 1 cells; the header has 2"),
        (b'sku,note\r\nA,"B\r\n', "look for a quote not closed"),
        (b"sku\r\n\xff\r\n", "Byte 5 of the file is not UTF-8"),
        (b"sku\r\nA\0\r\n", "NUL byte"),
        (b"sku\r\nA\r\nB\r\nC\r\nD\r\n", "At most 3 rows"),
        (b"sku\r\n" + b"A" * 100, "at most 50 are read"),
    ],
)
def test_a_file_that_is_no_such_table_is_refused(data, words):
    with pytest.raises(Invalid) as refused:
        read(data, most_bytes=50)
    assert words in str(refused.value)
