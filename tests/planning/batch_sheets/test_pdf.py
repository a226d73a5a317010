"""The printed sheet: sums as printed, large figures, nothing cut, codes that can be read."""

import datetime as dt
import io
import re
from decimal import Decimal

import pytest
from pypdf import PdfReader

from planning.batch_sheets.pdf import sheet_pdf
from planning.batch_sheets.pdf_paper import FACE, FONTS, LARGE_PT, code, paper
from planning.batches.printed import decimals_of, printed

MONDAY = dt.datetime(2026, 11, 30, 6, 45, tzinfo=dt.UTC)
MM_PER_PT = 25.4 / 72


def batch(n, **changes):
    lines = [
        {
            "id": 2 * n + i,
            "role": role,
            "material": f"Demo {role} with a rather long name for a narrow column",
            "container": f"CAN-{n}{i}",
            "lot": f"LOT-{n}{i}",
            "expires_on": dt.date(2027, 3, 1),
            "shelf": "Rack 2",
            "target_kg": target,
            "aim_kg": target,
            "low_kg": target - Decimal("0.01"),
            "high_kg": target + Decimal("0.01"),
            "weighed_kg": None,
        }
        for i, (role, target) in enumerate(
            [("resin", Decimal("10.935")), ("hardener", Decimal("1.095"))]
        )
    ]
    portions = [
        {
            "id": n,
            "pour": f"TO-{n} A",
            "pour_id": n,
            "tool": "Bonnet inner",
            "half": "A",
            "lift": 1,
            "depth_mm": Decimal("45.000000"),
            "place": "Bench 1",
            "kg": Decimal("11.87654321"),
            "brush_coat_kg": Decimal("0.3"),
            "start_at": MONDAY,
            "end_at": MONDAY,
            "poured_at": None,
            "abrade_first": True,
            "lifts": 2,
            "attend_min": 200,
            "gap_least_min": 300,
            "gap_greatest_min": 240,
            "next_lift": 2,
            "next_at": MONDAY + dt.timedelta(hours=9),
        }
    ]
    row = {
        "id": n,
        "number": f"B26-{n:05d}",
        "status": "planned",
        "system": "Demo system",
        "mix_min": 4,
        "ratio": "100 : 10 by mass",
        "hardener_per_100": Decimal("10.000"),
        "cautions": [{"code": "H317", "text": "May cause an allergic skin reaction."}],
        "ratio_tolerance_percent": Decimal(2),
        "ratios": [
            {"role": "hardener", "per_100": Decimal("10.000"), "tolerance_percent": Decimal(2)}
        ],
        "people": ["Ina Demo"],
        "mixer": "Mixer 1",
        "scale": "Floor scale",
        "readability_g": Decimal("5.000"),
        "start_at": MONDAY,
        "contact_at": MONDAY + dt.timedelta(minutes=8),
        "pour_start_at": MONDAY,
        "pour_end_at": MONDAY,
        "end_at": MONDAY,
        "pot_life_min": 45,
        "pot_life_basis": "data sheet's 45 min at 20 °C",
        "mix_words": "Mix planned as warm as the shop, 20 °C; it may be 27 °C at most.",
        "assumed": [{"code": "peak_limit", "text": "80 °C is taken."}],
        "latest_pour_at": MONDAY + dt.timedelta(minutes=53),
        "pour_by_mix_c": [{"celsius": 20 + 2 * i, "minutes": 45 - 4 * i} for i in range(11)],
        "mixed_kg": Decimal("12.0301"),
        "target_kg": Decimal("12.030"),
        "poured_kg": Decimal("11.87654321"),
        "loss_kg": Decimal("0.153"),
        "lines": lines,
        "portions": portions,
        "stir": ["Demo resin"],
    }
    return {**row, **changes}


def sheet(batches):
    return {
        "site": {"code": "n", "name": "Halle Süd", "time_zone": "Europe/Berlin"},
        "day": MONDAY.date(),
        "revision": "2026-W49, revision 2",
        "changed_since_print": True,
        "printed": {"at": MONDAY, "revision": "2026-W49, revision 1", "by": "tess"},
        "changes": ["Batch B26-00999 is new."],
        "fetch": [
            {
                "container": line["container"],
                "material": line["material"],
                "lot": line["lot"],
                "expires_on": line["expires_on"],
                "shelf": line["shelf"],
                "kg": line["target_kg"],
                "stir": True,
                "warm_from": MONDAY,
                "first_use_at": MONDAY,
            }
            for row in batches
            for line in row["lines"]
        ],
        "steps": [
            {
                "id": row["id"],
                "name": "Release coat 2 of 5",
                "phase": "before",
                "pour": f"TO-{row['id']} A",
                "pour_id": row["id"],
                "tool": "Bonnet inner",
                "people": ["Ina Demo"],
                "start_at": MONDAY,
                "end_at": MONDAY,
                "ready_at": MONDAY,
                "oven": None,
                "is_coat": True,
                "materials": [],
                "checks": [],
                "done_at": None,
            }
            for row in batches
        ],
        "batches": batches,
        "demoulds": [],
        "tools": [],
        "totals": {
            "mixed_kg": Decimal(0),
            "target_kg": sum(row["target_kg"] for row in batches),
            "poured_kg": sum(row["poured_kg"] for row in batches),
            "loss_kg": Decimal(0),
        },
        "cautions": [{"code": "H317", "text": "May cause an allergic skin reaction."}],
        "pouring_steps": ["Weigh resin, then hardener.", "Mix."],
    }


def pages_of(count):
    data = sheet_pdf(
        sheet([batch(n) for n in range(1, count + 1)]), printed_at=MONDAY, address="http://shop"
    )
    return PdfReader(io.BytesIO(data)).pages


@pytest.mark.parametrize(
    ("readability_g", "places"),
    [("5", 3), ("0.1", 4), ("0.5", 4), ("1", 3), ("10", 2), ("20", 2), ("1000", 0), (None, 4)],
)
def test_figures_have_as_many_decimals_as_the_scale_shows(readability_g, places):
    assert decimals_of(None if readability_g is None else Decimal(readability_g)) == places


@pytest.mark.parametrize("kg", ["11.87654321", "12.0299", "12.03049", "0.0004"])
def test_what_is_printed_adds_up_to_the_last_digit(kg):
    row = batch(1)
    row["portions"][0]["kg"] = Decimal(kg)
    figures = printed(row)
    total = Decimal(figures.total)
    assert sum(map(Decimal, figures.targets)) == total
    assert sum(map(Decimal, figures.portions)) + Decimal(figures.left) == total
    assert Decimal(figures.left) >= 0


@pytest.mark.parametrize("count", [1, 12])
def test_no_batch_and_no_line_is_lost_or_cut(count):
    pages = pages_of(count)
    words = "\n".join(page.extract_text() for page in pages)
    for n in range(1, count + 1):
        assert words.count(f"Batch B26-{n:05d}, page 1 of 1") == 1
        assert len(re.findall(rf"Batch B26-{n:05d}\b", words)) == 2
        assert words.count(f"CAN-{n}0,") == 1
    assert f"Page {len(pages)} of {len(pages)}" in words
    bottom_pt = 10 / MM_PER_PT
    for page in pages:
        lowest = []
        page.extract_text(
            visitor_text=lambda text, cm, tm, font, size, low=lowest: (
                low.append(tm[5]) if text.strip() else None
            )
        )
        assert min(lowest) > bottom_pt
        assert max(lowest) < float(page.mediabox.height) - bottom_pt / 2


def test_the_weights_on_the_page_add_up():
    words = pages_of(1)[-1].extract_text()
    found = [Decimal(figure) for figure in re.findall(r"(?<![\d.-])\d+\.\d{3}(?!\d)", words)]
    for figure in ("10.935", "1.095", "12.030", "11.875", "0.155"):
        assert Decimal(figure) in found
    assert Decimal("10.935") + Decimal("1.095") == Decimal("11.875") + Decimal("0.155")


def test_figures_are_at_least_5_mm_high():
    from fontTools.ttLib import TTFont

    font = TTFont(FONTS / "DejaVuSans-Bold.ttf")
    glyph = font["glyf"][font.getBestCmap()[ord("7")]]
    em = font["head"].unitsPerEm
    assert glyph.yMax / em * LARGE_PT * MM_PER_PT >= 5.0


@pytest.mark.parametrize("words", ["HOT POT:", "SPLASH:", "Spill or splash", "Emergency number"])
def test_what_is_read_in_an_emergency_is_at_least_10_points(words):
    found = []
    for page in pages_of(1):
        page.extract_text(
            visitor_text=lambda text, cm, tm, font, size: (
                found.append(size * tm[3]) if words in text else None
            )
        )
    assert found
    assert min(found) >= 10


def test_the_sheet_is_black_on_white():
    for page in pages_of(1):
        stream = page.get_contents().get_data().decode("latin-1")
        colours = set(re.findall(r"((?:[\d.]+ ){1,4})(?:rg|RG|g|G|k|K)\b", stream))
        assert {part for colour in colours for part in colour.split()} <= {
            "0",
            "1",
            "0.000",
            "1.000",
        }


def test_names_with_umlauts_are_printed():
    assert "Halle Süd" in pages_of(1)[0].extract_text()


def test_the_code_on_a_page_is_read_by_another_library(tmp_path):
    import subprocess

    import zxingcpp
    from PIL import Image

    pdf = paper("head")
    pdf.set_font(FACE)
    pdf.add_page()
    code(pdf, "http://127.0.0.1:8000/batches/7/", 170, 12, 28)
    pdf.output(str(tmp_path / "a.pdf"))
    subprocess.run(
        ["pdftoppm", "-r", "150", "-png", tmp_path / "a.pdf", tmp_path / "a"], check=True
    )
    drawn = Image.open(next(tmp_path.glob("a*.png")))
    assert zxingcpp.read_barcodes(drawn)[0].text == "http://127.0.0.1:8000/batches/7/"


LONG = "Demo tooling resin with a long name, filled with aluminium grit and quartz, slow, no 12345"
"""90 letters: the longest name that a page takes whole."""


ONE_WORD = LONG.replace(" ", "-")
"""The same as one word, which no line takes whole."""


def crammed(n, name):
    """Return a batch whose cans, lots, shelves and places have names as long as they may be."""
    row = full(n, 4, 3, name)
    for line in row["lines"]:
        line |= {"container": f"CAN-{n}-{name}"[:40], "lot": f"LOT-{name}"[:40], "shelf": name}
    for portion in row["portions"]:
        portion["place"] = name
    return row


def full(n, cans=4, pours=3, name=None):
    """Return a batch of several cans and pours, with names as long as they may be."""
    row = batch(n)
    resin, hardener = row["lines"]
    row["lines"] = [
        {**line, "id": i, "container": f"CAN-{n}-{i}", "material": name or f"Demo {line['role']}"}
        for i, line in enumerate([resin] * (cans // 2) + [hardener] * (cans - cans // 2))
    ]
    row["target_kg"] = sum(line["target_kg"] for line in row["lines"])
    (first,) = row["portions"]
    row["portions"] = [
        {**first, "pour": f"TO-{n} {letter}", "tool": name or first["tool"], "kg": Decimal("3.5")}
        for letter in "ABCDEFGH"[:pours]
    ]
    if name:
        row |= {"system": name, "mixer": name, "scale": name, "people": [name, name]}
    return row


def words_of(data, folder, *options):
    """Return what another program reads in a PDF."""
    import subprocess

    (folder / "sheet.pdf").write_bytes(data)
    command = ["pdftotext", *options, folder / "sheet.pdf", "-"]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def plain(words):
    return "".join(words.split())


@pytest.mark.parametrize(
    ("row", "on_pages"),
    [
        pytest.param(full(1), 1, id="four cans and three pours on one page"),
        pytest.param(full(1, 2, 1), 1, id="two cans"),
        pytest.param(full(1, 4, 1, LONG), 1, id="four cans, long names"),
        pytest.param(full(1, 4, 3, LONG), 2, id="four cans, three pours, long names"),
        pytest.param(full(1, 8, 2), 2, id="eight cans"),
        pytest.param(crammed(1, LONG), 2, id="long names of cans, lots, shelves and places"),
        pytest.param(crammed(1, ONE_WORD), 2, id="the same, each as one word"),
        pytest.param(full(1, 24, 8, LONG), 3, id="twenty-four cans, eight pours, long names"),
    ],
)
def test_each_page_names_its_batch_and_how_many_it_has(row, on_pages):
    data = sheet_pdf(sheet([row]), printed_at=MONDAY)
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]
    own = [text for text in pages if text.startswith("Batch B26-00001")]
    assert len(own) == on_pages
    for n, text in enumerate(own, 1):
        assert f"Batch B26-00001, page {n} of {on_pages}" in text
    (last,) = [text for text in pages if "Pour, kg" in text]
    assert [text for text in own if "Mixed and poured by" in text] == [own[-1]]
    for words in ("in the pot and on the tools", "Remarks, corrections"):
        assert words in plain_line(own[-1])
    assert "spread it thin" in own[-1]
    assert "HOT POT:" in own[-1]
    assert last in own


def plain_line(text):
    return " ".join(text.split())


@pytest.mark.parametrize("count", [1, 2, 5, 30])
def test_every_weight_on_paper_is_the_batch_s(count, tmp_path):
    rows = [full(n, 4, 1 + n % 3) for n in range(1, count + 1)]
    for row in rows:
        for i, line in enumerate(row["lines"]):
            line["target_kg"] += Decimal("0.005") * (row["id"] * 4 + i)
        row["target_kg"] = sum(line["target_kg"] for line in row["lines"])
    data = sheet_pdf(sheet(rows), printed_at=MONDAY)
    pages = words_of(data, tmp_path, "-layout").split("\f")
    for row in rows:
        figures = printed(row)
        own = "\n".join(text for text in pages if f"Batch {row['number']}, page" in text)
        found = re.findall(r"(?<![\d.])\d+\.\d{3}(?![\d.])", own)
        for figure in (*figures.targets, *figures.portions, figures.total, figures.left):
            assert figure in found
        wanted = {*figures.targets, *figures.lows, *figures.highs, *figures.portions,
                  figures.total, figures.left, "0.300", "0.098", "0.102"}  # fmt: skip
        assert set(found) <= wanted
    whole = "\n".join(pages[:-1])
    for row in rows:
        index = rf"{row['number']}.*?{row['target_kg']:.3f}"
        assert re.search(index, whole, re.DOTALL), row["number"]


def test_names_of_90_letters_are_whole_and_inside_the_paper(tmp_path):
    rows = [full(n, 4, 1, LONG) for n in range(1, 31)]
    data = sheet_pdf(sheet(rows), printed_at=MONDAY)
    pages = PdfReader(io.BytesIO(data)).pages
    assert len(pages) <= 40
    for page in pages[-30:]:
        text = plain(page.extract_text())
        # System, mixer, scale, two people, four cans and a tool.
        assert text.count(plain(LONG)) == 10
    box = words_of(data, tmp_path, "-bbox")
    right = [
        float(x) for x in re.findall(r'<word xMin="[\d.]+" yMin="[\d.]+" xMax="([\d.]+)"', box)
    ]
    low = [float(y) for y in re.findall(r'yMax="([\d.]+)">', box)]
    assert max(right) <= (210 - 11) / MM_PER_PT
    assert max(low) <= (297 - 8) / MM_PER_PT


def test_the_index_of_the_day_names_the_page_of_each_batch():
    rows = [full(n, 8, 2) for n in range(1, 13)]
    data = sheet_pdf(sheet(rows), printed_at=MONDAY)
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]
    for n in range(1, 13):
        first = next(i for i, text in enumerate(pages, 1) if f"B26-{n:05d}, page 1 of" in text)
        assert re.search(rf"B26-{n:05d}\s.*?Ina Demo\s+{first}\b", pages[0], re.DOTALL)


def test_the_code_leads_back_to_the_batch_under_any_address(tmp_path):
    import subprocess

    import zxingcpp
    from PIL import Image

    from shared.codes.short import Short, path_of, read_path

    path = tmp_path / "sheet.pdf"
    path.write_bytes(sheet_pdf(sheet([batch(7)]), printed_at=MONDAY, address="http://10.9.8.7:1"))
    subprocess.run(["pdftoppm", "-r", "150", "-png", "-f", "2", path, tmp_path / "a"], check=True)
    (code,) = zxingcpp.read_barcodes(Image.open(next(tmp_path.glob("a*.png"))))
    assert read_path(path_of(code.text) or "") == Short("B", 7)
