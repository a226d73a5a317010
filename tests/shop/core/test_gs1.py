from datetime import date
from decimal import Decimal

import pytest
from biip.gs1_messages import GS1Message
from hypothesis import given
from hypothesis import strategies as st

from shop.core import gs1, gs1_label
from shop.core.gs1 import Element, Gs1Error
from tests.reference_cases import params, rows

TODAY = date(2026, 11, 25)


def answer(inputs):
    """Answer one row of the case table in the table's own form."""
    today = date.fromisoformat(inputs.get("reference_date", TODAY.isoformat()))
    try:
        return _ANSWERS[inputs["op"]](inputs, today)
    except Gs1Error as error:
        return {"error": error.code} | ({"ai": error.ai} if error.ai else {})


def _pairs(elements):
    return {"elements": [[e.ai, e.value] for e in elements]}


def _date(inputs, today):
    found = gs1.read_date(inputs["yymmdd"], today)
    return {"date": found.day.isoformat(), "day_given": found.day_given}


def _measure(inputs, _):
    found = gs1.measure(inputs["ai"], inputs["value"])
    return {"quantity": format(found.quantity, "f"), "unit": found.unit}


def _elements(inputs):
    return [Element(*pair) for pair in inputs["elements"]]


_ANSWERS = {
    "check_digit": lambda i, _: {"valid": gs1.check_digit_holds(i["digits"])},
    "check_digit_compute": lambda i, _: {"check_digit": str(gs1.check_digit(i["payload"]))},
    "gs1_date": _date,
    "gs1_parse": lambda i, today: _pairs(gs1.parse(i["scan"], today)),
    "gs1_build": lambda i, today: {"data": gs1.build(_elements(i), today)},
    "gs1_associations": lambda i, _: {"violations": list(gs1_label.pairing_faults(i["ais"]))},
    "gs1_measure": _measure,
    "dl_parse": lambda i, today: _pairs(gs1.parse_link(i["uri"], today)),
    "dl_build": lambda i, today: {"uri": gs1.build_link(i["stem"], _elements(i), today)},
}


@pytest.mark.parametrize("case", params("interchange_checks.csv", "GS1-"))
def test_reference_rows(case):
    found = answer(case.inputs)
    if "error" in case.expected and "ai" not in case.expected:
        found.pop("ai", None)
    assert found == case.expected, case.source


def test_every_gs1_row_is_answered():
    assert len([c for c in rows("interchange_checks.csv") if c.id.startswith("GS1-")]) == 47


GTIN = "0109520123456788"
HOSTILE = [
    ("", "empty"),
    ("   \r\n", "empty"),
    ("\x1d\x1d\x1d", "empty"),
    ("]d2", "empty"),
    ("]E0", "empty"),
    ("]", "not_gs1"),
    ("]Z9123", "not_gs1"),
    ("]C0RES-A-001", "not_gs1"),
    ("]Q1plain text", "not_gs1"),
    ("9" * 401, "too_long"),
    ("10" + "A" * 21, "too_long"),
    ("240" + "9" * 31, "too_long"),
    ("30123456789", "too_long"),
    ("10", "too_short"),
    ("10\x1d17280331", "too_short"),
    ("17280", "too_short"),
    ("3103025", "too_short"),
    ("010952012345", "too_short"),
    ("0109520123456789", "check_digit"),
    ("]d20109520123456780", "check_digit"),
    ("00106141412345678907", "check_digit"),
    ("]E04006381333932", "check_digit"),
    ("]E012345", "too_short"),
    ("]E0123456789012345", "too_long"),
    ("]E040063813339A1", "bad_character"),
    ("]E0٤٠٠٦٣٨١٣٣٣٩٣١", "bad_character"),
    ("0100000000000000", "zero"),
    (GTIN + "3103000000", "zero"),
    (GTIN + "3000", "zero"),
    (GTIN + "17281301", "bad_date"),
    (GTIN + "17280230", "bad_date"),
    (GTIN + "11000000", "bad_date"),
    (GTIN + "17ABCDEF", "bad_character"),
    (GTIN + "17²³⁴⁵⁶⁷", "bad_character"),
    (GTIN + "31030250A0", "bad_character"),
    ("10LOT 7", "bad_character"),
    ("10LOT\x007", "bad_character"),
    ("10LOT\t7", "bad_character"),
    ("10LOT\n7", "bad_character"),
    ("10\u202eLOT", "bad_character"),
    ("10LÖT", "bad_character"),
    ("10{{7*7}}", "bad_character"),
    ("10'; DROP TABLE lot;--", "bad_character"),
    ("10<img src=x>", "bad_character"),
    ("10`reboot`", "bad_character"),
    ("10A\x1d10B", "repeated"),
    (GTIN + "0112345678901231", "repeated"),
    (GTIN + "31030250003102002500", "repeated"),
    (GTIN + "17280331" + "17280430", "repeated"),
    ("LOT-7A", "unknown_ai"),
    ("=cmd|'/c calc'!A0", "unknown_ai"),
    ("<script>alert(1)</script>", "unknown_ai"),
    ("../../etc/passwd", "unknown_ai"),
    (GTIN + "11280401" + "17280331", "dates_crossed"),
    ("file:///etc/passwd", "scheme"),
    ("javascript://x/01/09520123456788", "scheme"),
    ("HtTps://a/01/09520123456788", "scheme"),
    ("https://a/about", "bad_link"),
    ("https://a/01/09520123456788/10", "bad_link"),
    ("https://a/01/09520123456788/21/S1/10/ABC1", "bad_link"),
    ("https://a/01/09520123456789", "check_digit"),
    ("https://a/01/09520123456788?17=281301", "bad_link"),
    ("https://a/01/09520123456788?17=270229", "bad_date"),
    ("https://a/01/09520123456788/10/A%00B", "bad_link"),
    ("https://a/01/09520123456788/10/A B", "bad_character"),
    ("https://a\\b/01/09520123456788", "bad_character"),
    ("https://[::1/01/09520123456788", "bad_link"),
]


@pytest.mark.parametrize(("scan", "code"), HOSTILE, ids=lambda x: repr(x)[:40])
def test_hostile_barcodes_are_refused_with_a_reason(scan, code):
    with pytest.raises(Gs1Error) as caught:
        gs1_label.read_label(scan, TODAY)
    assert caught.value.code == code, caught.value
    assert len(str(caught.value)) > 15


def test_there_are_at_least_fifty_hostile_barcodes():
    assert len({scan for scan, _ in HOSTILE}) >= 50


@pytest.mark.parametrize(
    ("text", "sound"),
    [
        ("96385074", True), ("614141000036", True), ("4006381333931", True),
        ("04006381333931", True), ("4006381333932", False), ("", False), ("6385074", False),
        ("٤٠٠٦٣٨١٣٣٣٩٣١", False),
    ],
)  # fmt: skip
def test_an_item_number_has_one_of_four_lengths_and_checks(text, sound):
    assert gs1.sound_gtin(text) is sound


def test_a_drum_label_reads_as_goods_on_the_dock():
    label = gs1_label.read_label(
        "]d2" + GTIN + "17280331" + "15280115" + "3103025000" + "10LOT-7A\x1d21S1\x1d240RES-A",
        TODAY,
    )
    assert (label.gtin, label.lot, label.serial) == ("09520123456788", "LOT-7A", "S1")
    assert (label.usable_until, label.binding) == (date(2028, 1, 15), "best before (15)")
    assert (label.net_kg, label.supplier_item) == (Decimal("25.000"), "RES-A")
    assert label.warnings == ()


def test_a_production_month_counts_from_its_first_day():
    assert gs1_label.read_label(GTIN + "11260900", TODAY).made_on == date(2026, 9, 1)
    assert gs1_label.read_label(GTIN + "17260900", TODAY).usable_until == date(2026, 9, 30)


def test_a_lot_that_swallowed_the_next_field_is_doubted():
    label = gs1_label.read_label(GTIN + "10LOT7A17280331", TODAY)
    assert "another field had run into it" in label.warnings[0]


def test_day_00_is_never_printed():
    with pytest.raises(Gs1Error, match="never printed"):
        gs1.build([Element("17", "280300")], TODAY)


@pytest.mark.parametrize(
    ("stem", "elements", "code"),
    [
        ("http://example.com", [("01", "09520123456788")], "scheme"),
        ("https://example.com", [("10", "A")], "bad_link"),
        ("https://example.com", [("01", "09520123456789")], "check_digit"),
    ],
)
def test_a_link_that_nobody_could_read_is_not_written(stem, elements, code):
    with pytest.raises(Gs1Error) as caught:
        gs1.build_link(stem, [Element(*e) for e in elements], TODAY)
    assert caught.value.code == code


lots = st.text("ABCXYZ0123456789-/.()%&+_", min_size=1, max_size=20)


@given(
    lots,
    st.one_of(st.none(), lots),
    st.dates(date(2026, 1, 1), date(2070, 12, 31)),
    st.integers(1, 999999),
)
def test_what_is_built_reads_back_and_biip_agrees(lot, serial, until, grams):
    elements = [
        Element("01", "09520123456788"),
        Element("10", lot),
        Element("17", until.strftime("%y%m%d")),
        Element("3103", f"{grams:06}"),
    ]
    elements += [Element("21", serial)] if serial else []
    data = gs1.build(elements, TODAY)
    assert gs1.parse(data, TODAY) == tuple(elements)
    theirs = [(e.ai.ai, e.value) for e in GS1Message.parse(data).element_strings]
    assert theirs == [(e.ai, e.value) for e in elements]
    label = gs1_label.read_label(data, TODAY)
    assert (label.usable_until, label.net_kg) == (until, Decimal(grams) / 1000)


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_never_a_crash(text):
    try:
        label = gs1_label.read_label(text, TODAY)
    except Gs1Error as error:
        refusal = error.code
    else:
        refusal = "" if label.elements else "read, but as nothing"
    assert refusal in {"", *(code for _, code in HOSTILE)}
