"""UBL documents: valid against the published schemas, read back equal, hostile ones refused."""

import csv
import hashlib
from datetime import date
from decimal import Decimal

import pytest
from django.conf import settings
from hypothesis import given
from hypothesis import settings as trials

from shared.errors import Invalid
from shared.ubl import codes
from shared.ubl.document import Document, Kind, Line, Money, Quantity
from shared.ubl.reading import MOST_BYTES, parse, read
from shared.ubl.schemas import faults, read_document
from shared.ubl.writing import figure, write
from tests.reference_cases import params
from tests.shared.ubl.documents import documents

FOLDER = settings.ROOT / "fixtures" / "ubl"
ORDER = Document(
    Kind.ORDER, "PO-17", date(2026, 11, 30), currency="EUR", buyer="Invented shop",
    seller="Invented maker", total=Money(Decimal("637.50"), "EUR"),
    lines=(
        Line("1", quantity=Quantity(Decimal(75), "KGM"), wanted_on=date(2026, 12, 14),
             price=Money(Decimal("8.5"), "EUR"), price_per=Quantity(Decimal(1), "KGM"),
             packs=Quantity(Decimal(3), "H87"), pack_size=Decimal(25), name="Resin",
             buyers_item="R1", gtin="09520123456788"),
    ),
)  # fmt: skip


def sample(name):
    return (FOLDER / "samples" / name).read_bytes()


@trials(max_examples=25, deadline=None)
@given(documents())
def test_what_is_written_is_valid_and_reads_back_equal(document):
    """In the build 25; 1,000 were run on 2026-11-30."""
    raw = write(document)
    assert faults(parse(raw), document.kind) == []
    assert read_document(raw) == document


def test_the_schemas_are_those_that_were_published():
    rows = (FOLDER / "SHA256SUMS").read_text(encoding="utf-8").split("\n")
    named = dict(reversed(row.split("  ")) for row in rows if row)
    found = {
        path.relative_to(FOLDER).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in (FOLDER / "xsdrt").rglob("*.xsd")
    }
    assert found == named
    assert len(found) == 18


@pytest.mark.parametrize(
    "case", params("interchange_checks.csv", *(f"UBL-{n:02d}" for n in range(1, 8)))
)
def test_sample_rows(case):
    root = parse((FOLDER.parent / case.inputs["file"]).read_bytes())
    kind = Kind(root.tag.rpartition("}")[2])
    assert (faults(root, kind) == []) is case.expected["valid"], case.source


@pytest.mark.parametrize("case", params("interchange_checks.csv", "UBL-08", "UBL-09", "UBL-10"))
def test_unit_code_rows(case):
    code = case.inputs["code"]
    found = {"in_list": code in codes.NAMES}
    if found["in_list"]:
        found["name"] = codes.NAMES[code]
    assert found == case.expected, case.source


@pytest.mark.parametrize("case", params("interchange_checks.csv", "UBL-11"))
def test_unit_mapping_row(case):
    assert {"rec20": codes.UCUM[case.inputs["ucum"]]} == case.expected, case.source


@pytest.mark.parametrize("case", params("interchange_checks.csv", "UBL-12"))
def test_currency_row(case):
    assert {"in_list": case.inputs["code"] in codes.CURRENCIES} == case.expected, case.source


def test_the_unit_codes_are_those_of_the_list():
    with (FOLDER / "unit_codes.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["ucum"]: row["rec20"] for row in rows} == codes.UCUM
    for row in rows:
        assert codes.NAMES[row["rec20"]] == row["rec20_name"]


@pytest.mark.parametrize(
    ("value", "code", "unit", "expected"),
    [
        ("2500", "GRM", "kg", "2.5"), ("1", "TNE", "kg", "1000"), ("750", "MLT", "L", "0.75"),
        ("2", "DMQ", "L", "2"), ("3", "C62", "pc", "3"), ("3", "EA", "pc", "3"),
        ("1", "LTR", "kg", None), ("1", "CEL", "kg", None), ("1", "KGM", "pc", None),
    ],
)  # fmt: skip
def test_quantities_come_into_the_house_unit(value, code, unit, expected):
    found = codes.in_unit(Decimal(value), code, unit)
    assert found == (None if expected is None else Decimal(expected))


def test_samples_say_what_stands_in_them():
    advice = read_document(sample("despatch_resin.xml"))
    (line,) = advice.lines
    assert (advice.id, advice.order_id, line.order_line) == ("DN-90017", "PO-2026-0147", "1")
    assert (line.quantity, line.outstanding) == (
        Quantity(Decimal("50.000"), "KGM"), Quantity(Decimal("25.000"), "KGM"),
    )  # fmt: skip
    assert (line.lot, line.expires_on, line.made_on, line.gtin) == (
        "LOT-7A", date(2027, 1, 31), date(2026, 1, 20), "09520123456788",
    )  # fmt: skip
    order = read_document(sample("order_resin.xml"))
    assert (order.buyer, order.lines[0].wanted_on) == ("Example Tooling Shop", date(2026, 3, 16))
    receipt = read_document(sample("receipt_resin.xml"))
    assert receipt.lines[0].reject_reason == "Drum dented, lid seal broken"


def refused(raw, *wanted):
    with pytest.raises(Invalid) as found:
        read_document(raw, *wanted)
    return [(one.pointer, one.code, one.value) for one in found.value.problems]


LINE = "/Order/cac:OrderLine[1]/cac:LineItem"


@pytest.mark.parametrize(
    ("old", "new", "pointer", "code", "value"),
    [
        ("KGM", "KG", f"{LINE}/cbc:Quantity/@unitCode", "unknown_unit", "KG"),
        ('currencyID="EUR">8.5', 'currencyID="EURO">8.5',
         f"{LINE}/cac:Price/cbc:PriceAmount/@currencyID", "unknown_currency", "EURO"),
        (">EUR<", ">eur<", "/Order/cbc:DocumentCurrencyCode", "unknown_currency", "eur"),
        (">75<", ">1e3<", f"{LINE}/cbc:Quantity", "not_decimal", "1e3"),
        (">75<", ">7,5<", f"{LINE}/cbc:Quantity", "not_decimal", "7,5"),
        (">75<", ">NaN<", f"{LINE}/cbc:Quantity", "not_decimal", "NaN"),
        ("2026-11-30", "30/11/2026", "/Order/cbc:IssueDate", "not_a_day", "30/11/2026"),
        ("2026-12-14", "2026-02-30",
         f"{LINE}/cac:Delivery/cac:RequestedDeliveryPeriod/cbc:EndDate", "not_a_day",
         "2026-02-30"),
        ("<cbc:ID>PO-17</cbc:ID>", "", "/Order/cbc:ID", "required", None),
        ("<cbc:ID>PO-17</cbc:ID>", "<cbc:ID> </cbc:ID>", "/Order/cbc:ID", "required", None),
    ],
)  # fmt: skip
def test_a_fault_is_named_by_its_path_and_value(old, new, pointer, code, value):
    raw = write(ORDER).decode()
    assert old in raw
    assert (pointer, code, value) in refused(raw.replace(old, new).encode())


def test_all_faults_are_told_at_once_and_words_say_what_to_do():
    raw = write(ORDER).decode().replace("KGM", "KG").replace("2026-11-30", "soon")
    with pytest.raises(Invalid) as found:
        read_document(raw.encode())
    words = [one.detail for one in found.value.problems]
    assert len(words) == 4
    assert any(
        "'KG'; it must be a code of UN/ECE Recommendation 20 such as KGM" in w for w in words
    )
    assert any("'soon'; it must be a day such as 2026-11-30" in w for w in words)


def test_what_is_out_of_order_or_of_another_kind_is_refused():
    ((pointer, code, _), *_) = refused(sample("bad_order_wrong_sequence.xml"))
    assert code == "against_the_schema"
    assert pointer.startswith("/")
    assert ("/Order/cbc:IssueDate", "required", None) in refused(
        sample("bad_order_no_issue_date.xml")
    )
    assert refused(write(ORDER), Kind.DESPATCH_ADVICE)[0][1] == "not_the_document"
    assert refused(b"<a/>")[0][1] == "not_the_document"


def test_lines_are_numbered_once_and_there():
    raw = write(ORDER).decode()
    line = raw[raw.index("<cac:OrderLine>") : raw.index("</cac:OrderLine>") + 16]
    assert (f"{LINE.replace('[1]', '[2]')}/cbc:ID", "repeated", "1") in refused(
        raw.replace(line, line * 2).encode()
    )
    assert ("/Order/cac:OrderLine", "required", None) in refused(raw.replace(line, "").encode())
    assert ("/Order/cac:OrderLine", "too_many", None) in refused(
        raw.replace(line, "<cac:OrderLine/>" * 501).encode()
    )


LAUGHS = "".join(
    f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' if n else '<!ENTITY l0 "lol">' for n in range(10)
)
BODY = write(ORDER).decode().split("?>", 1)[1]
HOSTILE = {
    "billion laughs": (f"<!DOCTYPE Order [{LAUGHS}]>" + BODY.replace("Resin", "&l9;"),
                       "document_type"),
    "external entity": ('<!DOCTYPE Order [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
                        + BODY.replace("Resin", "&x;"), "document_type"),
    "external entity over the network": (
        '<!DOCTYPE Order [<!ENTITY x SYSTEM "http://127.0.0.1:1/x">]>' + BODY, "document_type"),
    "parameter entity": ('<!DOCTYPE Order [<!ENTITY % p SYSTEM "file:///etc/passwd"> %p;]>' + BODY,
                         "document_type"),
    "external document type": ('<!DOCTYPE Order SYSTEM "file:///etc/passwd">' + BODY,
                               "document_type"),
    "entity that nobody declared": (BODY.replace("Resin", "&x;"), "not_xml"),
    "not closed": (BODY[:-9], "not_xml"),
    "too deep": ("<a>" * 3000 + "</a>" * 3000, "not_xml"),
    "two roots": (BODY + BODY, "not_xml"),
    "empty": ("", "not_xml"),
    "JSON": ('{"a": 1}', "not_xml"),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_document_is_refused(name):
    text, code = HOSTILE[name]
    assert refused(text.encode())[0][1] == code


@pytest.mark.parametrize("encoding", ["utf-16", "latin-1", "utf-32", "cp037"])
def test_another_encoding_is_refused_whether_declared_or_not(encoding):
    raw = write(ORDER).decode().replace("Resin", "Härter")
    declared = raw.replace("UTF-8", encoding).encode(encoding)
    silent = raw.split("?>", 1)[1].encode(encoding)
    for one in (declared, silent):
        assert refused(one)[0][1] in ("not_utf_8", "not_xml")


def test_ten_megabytes_are_not_read():
    raw = write(ORDER).replace(b"Resin", b"R" * 10_000_000)
    assert refused(raw)[0][1] == "too_large"
    assert len(raw) > MOST_BYTES


def test_an_include_is_an_element_like_any_other():
    raw = write(ORDER).decode().replace(
        "<cbc:Name>Resin", '<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" '
        'href="file:///etc/passwd"/><cbc:Name>Resin',
    )  # fmt: skip
    assert "root:" not in str(refused(raw.encode()))
    assert read(parse(raw.encode())) == ORDER


def test_what_cannot_be_written_is_a_slip_of_the_code():
    for line in (Line("1", quantity=Quantity(Decimal(1), "KG")),
                 Line("1", amount=Money(Decimal(1), "EURO"))):  # fmt: skip
        with pytest.raises(ValueError, match=r"KG|EURO"):
            write(Document(Kind.ORDER, "1", date(2026, 1, 1), lines=(line,)))
    with pytest.raises(ValueError, match="no line"):
        write(Document(Kind.ORDER, "1", date(2026, 1, 1)))


def test_figures_and_texts_are_written_plainly():
    assert [figure(Decimal(x)) for x in ("1E+3", "0.5000", "10", "-0.10")] == [
        "1000", "0.5", "10", "-0.1",
    ]  # fmt: skip
    name = "Resin\x00\x0b part\n A\ufffe"
    lines = (Line("1", quantity=Quantity(Decimal(1), "KGM"), name=name),)
    found = read_document(write(Document(Kind.ORDER, "1", date(2026, 1, 1), lines=lines)))
    assert found.lines[0].name == "Resin part A"
