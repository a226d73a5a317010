"""Files from strangers: what is read, what is refused, and that nothing is guessed or rounded."""

import io
import zipfile
from datetime import date, datetime, time
from decimal import Decimal

import pytest

from planning.files import actions
from planning.files.cells import BadCell, read_cell
from planning.files.columns import Column
from planning.files.tables import read_file
from planning.management.callers import Caller
from shared.errors import Invalid
from shared.workbook import one_sheet
from shared.workbook_reading import MOST_UNPACKED_BYTES, Formula, read_book
from shop.sites.models import ClosedDay, Mixer, Person, Scale
from tests.callers import make_user
from tests.planning.files.conftest import book_of, read

pytestmark = pytest.mark.django_db
MIXERS = ["code", "name", "largest_kg", "least_kg"]


def cells_of(data):
    return {name: dict(lines) for name, lines in read_book(data, most_rows=100)}


def test_cells_of_another_program_keep_what_they_are():
    rows = [["a", 1, 0.1, 12.5, True, date(2026, 4, 3), time(6, 30), None, "=1+1", " x "],
            [datetime.fromisoformat("2026-04-03T12:00"), 1e-7, 123456789012345678]]  # fmt: skip
    [first, second] = cells_of(book_of(One=rows))["One"].values()
    assert first == {
        0: "a", 1: Decimal(1), 2: Decimal("0.1"), 3: Decimal("12.5"), 4: True,
        5: date(2026, 4, 3), 6: time(6, 30), 8: Formula("=1+1"), 9: "x",
    }  # fmt: skip
    assert isinstance(second[0], Decimal)  # a day with a time on it is no day
    assert second[1] == Decimal("1E-7")


def test_our_own_workbook_is_read_back():
    data = one_sheet("T", ["a", "b"], [["=cmd", Decimal("1.50")], [date(2026, 1, 2), 3]],
                     widths=[9, 9])  # fmt: skip
    assert list(cells_of(data)["T"].values()) == [
        {0: "a", 1: "b"}, {0: "=cmd", 1: Decimal("1.5")}, {0: date(2026, 1, 2), 1: Decimal(3)},
    ]  # fmt: skip


NUMBER, DAY = Column("largest_kg", "number", ""), Column("day", "day", "")


@pytest.mark.parametrize(
    ("column", "cell", "comma", "words"),
    [
        (DAY, "03/04/2026", None, "can be 3 April or 4 March; write 2026-04-03 or 2026-03-04"),
        (DAY, "31.12.2026", None, "write it as 2026-12-31"),
        (DAY, "2026-02-30", None, "a day that does not exist"),
        (DAY, Decimal(46000), None, "write a day such as 2026-11-30"),
        (DAY, "30 Nov", None, "write a day such as"),
        (NUMBER, "1.250", True, "can be read as 1250 or as 1.250; write 1250 or 1.25"),
        (NUMBER, "1,250", False, "can be read as 1250 or as 1.250"),
        (NUMBER, "1.250", None, "can be read as"),
        (NUMBER, "15 kg", None, "without unit"),
        (NUMBER, "1 000", None, "without thousands separators"),
        (NUMBER, "1e3", None, "write a plain number"),
        (NUMBER, "nan", None, "write a plain number"),
        (NUMBER, date(2026, 1, 2), None, "no number"),
        (NUMBER, Formula("=A1*2"), None, "holds the formula '=A1*2'"),
        (Column("n", "whole", ""), "1.5", None, "write a whole number"),
        (Column("n", "whole", ""), True, None, "write a whole number"),
        (Column("n", "yes", ""), "maybe", None, "write yes or no"),
        (Column("n", "clock", ""), "25:00", None, "write a time of day"),
        (Column("n", "text", ""), date(2026, 11, 1), None, "format the cell as text"),
        (Column("n", "weekdays", ""), "Sa, Sunday", None, "write weekdays such as"),
        (Column("n", "json", ""), "{", None, "no JSON"),
        (Column("n", "choice", "", choices=("bench", "oven")), "roof", None, "one of bench, oven"),
    ],
)
def test_what_can_be_misread_is_refused_with_what_to_write(column, cell, comma, words):
    with pytest.raises(BadCell) as refused:
        read_cell(column, cell, comma=comma)
    assert words in str(refused.value)


@pytest.mark.parametrize(
    ("kind", "cell", "comma", "value"),
    [
        ("number", "12,5", True, "12.5"), ("number", "12,5", None, "12.5"),
        ("number", "1.250", False, "1.250"), ("number", "0.125", True, "0.125"),
        ("number", Decimal("0.1"), None, "0.1"), ("number", Decimal("1E-3"), None, "0.001"),
        ("day", "2026-04-03", None, "2026-04-03"), ("day", date(2026, 4, 3), None, "2026-04-03"),
        ("text", Decimal("4711"), None, "4711"), ("yes", "No", None, False),
        ("whole", Decimal("3.0"), None, 3), ("weekdays", "Sat, sunday", None, [6, 7]),
        ("words", "H315; H317", None, ["H315", "H317"]), ("clock", "6:30", None, "06:30"),
    ],
)  # fmt: skip
def test_what_is_plain_is_read(kind, cell, comma, value):
    assert read_cell(Column("n", kind, ""), cell, comma=comma) == value


def test_semicolons_and_decimal_commas(own):
    data = "code;name;largest_kg;least_kg\r\nM1;Mixer;12,5;0,5\r\n".encode("utf-8-sig")
    read(own, data, "Mixers.csv")
    mixer = Mixer.objects.get()
    assert (mixer.largest_kg, mixer.least_kg) == (Decimal("12.5"), Decimal("0.5"))
    read(own, data.replace(b"12,5", b"14,5"), "export.csv", sheet="Mixers")
    mixer.refresh_from_db()
    assert (mixer.largest_kg, mixer.version) == (Decimal("14.5"), 2)


def test_all_faults_at_once_and_nothing_kept(own):
    book = book_of(
        Mixers=[MIXERS, ["M1", "One", 10, 1], ["M2", "Two", "=B2", 1], ["M3", None, 0, 0],
                ["M1", "Again", 10, 1], ["M5", "Five", "1,250", 0]],
        Scales=[["code", "name", "capacity_kg", "readability_g"], ["S1", "S", 30, 1.00005]],
        Absences=[["person", "day"], ["nobody", "03/04/2026"], ["nobody", "2026-12-01"]],
        Closed_days=[["day", "reason"], ["2026-12-24", "x" * 300]],
    )  # fmt: skip
    with pytest.raises(Invalid) as refused:
        read(own, book)
    found = {one.pointer: one.detail for one in refused.value.problems}
    assert set(found) == {
        "#/Closed days/2/reason", "#/Absences/2/day", "#/Absences/3/person",
        "#/Mixers/3/largest_kg", "#/Mixers/4/name", "#/Mixers/5/code", "#/Mixers/6/largest_kg",
        "#/Scales/2/readability_g",
    }  # fmt: skip
    assert "at most 3 are kept, and nothing is rounded" in found["#/Scales/2/readability_g"]
    assert "Mixers, row 5, code: M1 stands on row 2 already" in found["#/Mixers/5/code"]
    assert "8 faults found; nothing was changed." in str(refused.value)
    assert not Mixer.objects.exists()
    assert not Scale.objects.exists()
    assert not ClosedDay.objects.exists()


def test_rows_that_name_a_refused_row_are_not_blamed_as_well(own):
    book = book_of(
        People=[["code", "name", "monday"], ["ivo", "Ivo", "7-12"]],
        Absences=[["person", "day"], ["ivo", "2026-12-01"]],
    )
    with pytest.raises(Invalid) as refused:
        read(own, book)
    assert [one.pointer for one in refused.value.problems] == ["#/People/2/monday"]
    assert not Person.objects.exists()


def test_who_has_no_right_is_told_once(own):

    planner = Caller(make_user("planner", own[1]))
    book = book_of(Mixers=[MIXERS, ["M1", "One", 10, 1], ["M2", "Two", 10, 1]])
    with pytest.raises(Invalid) as refused:
        read((planner, own[1]), book)
    [one] = refused.value.problems
    assert "needs sites:write" in one.detail


def zipped(**parts):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name.replace("__", "/").replace("_", "."), data)
    return out.getvalue()


def spoilt(**parts):
    """Return a sound workbook with some of its parts replaced."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book_of(Mixers=[MIXERS, ["M", "M", 1, 0]]))) as source:
        kept = {name: source.read(name) for name in source.namelist()}
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in {**kept, **parts}.items():
            archive.writestr(name, data)
    return out.getvalue()


SHEET1 = "xl/worksheets/sheet1.xml"
ENTITIES = (
    '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>'
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    '<row r="1"><c t="inlineStr"><is><t>&b;</t></is></c></row></sheetData></worksheet>'
)
MANY = "<row><c><v>1</v></c></row>" * 6000
LONG = f"<worksheet><sheetData>{MANY}</sheetData></worksheet>"
WIDE = '<worksheet><sheetData><row r="1"><c r="ZZ1"><v>1</v></c></row></sheetData></worksheet>'
HOSTILE = {
    "nothing": (b"", "no row below"),
    "no zip": (b"PK\x03\x04 and then nothing", "cannot be read as a workbook"),
    "bytes": (b"\xff\xfe\x00", "not UTF-8"),
    "another zip": (zipped(hello_txt="x"), "cannot be read as a workbook"),
    "bomb": (spoilt(**{"big.bin": bytes(MOST_UNPACKED_BYTES)}), "unpacks to"),
    "entities": (spoilt(**{SHEET1: ENTITIES}), "document type"),
    "rows": (spoilt(**{SHEET1: LONG}), "more than 5000 rows"),
    "columns": (spoilt(**{SHEET1: WIDE}), "columns are read"),
    "broken": (spoilt(**{SHEET1: "<worksheet><sheetData>"}), "cannot be read as a workbook"),
    "number": (spoilt(**{SHEET1: WIDE.replace("ZZ1", "A1").replace(">1<", ">one<")}), "no number"),
    "sheet": (book_of(Roofs=[["a"], ["b"]]), "'Roofs' is the name of no sheet"),
    "head": (book_of(Mixers=[["code", "colour"], ["M", "red"]]), "Unknown: colour"),
    "missing": (book_of(Mixers=[["code"], ["M"]]), "Missing: name, largest_kg"),
    "no name": (book_of(Mixers=[MIXERS, ["M", "M", 1, 0, "stray"]]), "column without a name"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_hostile_and_broken_files_are_refused_in_words(own, case):
    data, words = HOSTILE[case]
    name = "Mixers.csv" if case in ("nothing", "bytes") else "shop.xlsx"
    with pytest.raises(Invalid) as refused:
        read(own, data, name)
    said = " ".join([str(refused.value), *(one.detail for one in refused.value.problems)])
    assert words in said


def test_names_in_an_archive_are_never_paths():
    """Only what a file is called is looked at; nothing of an archive is written anywhere."""
    data = zipped(**{"..__..__Mixers_csv": "code,name,largest_kg\nM,M,1\n"})
    assert list(read_file(data, "x.zip")) == ["Mixers"]


def test_text_that_looks_like_a_formula_comes_back_as_it_was(own):
    rows = [["S1", "=HYPERLINK(1)"]]
    read(own, one_sheet("Shelves", ["code", "name"], rows, widths=[9, 9]))
    data, _ = actions.shop_file(caller=own[0], site=own[1], form="csv")
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert "S1,'=HYPERLINK(1)" in archive.read("Shelves.csv").decode()
    again = read(own, data, "shop.zip")
    assert again.counts["Shelves"].same == 1
    xlsx, _ = actions.shop_file(caller=own[0], site=own[1], form="xlsx")
    assert dict(read_book(xlsx, most_rows=5000))["Shelves"][1][1][1] == "=HYPERLINK(1)"
    with zipfile.ZipFile(io.BytesIO(xlsx)) as archive:
        assert not any(b"<f>" in archive.read(n) for n in archive.namelist())
