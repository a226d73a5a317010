"""The day's sheet as a PDF: one summary, then one batch a page."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.conf import settings

from planning.batch_sheets import pdf_paper as paper
from planning.batch_sheets.printed import PrintedBatch, clock_text, day_clock_text, printed

if TYPE_CHECKING:
    from fpdf import FPDF

MOST_CHANGES = 12
FOLLOW = "Follow the safety data sheet, local rules and trained people."


def sheet_pdf(
    sheet: Mapping[str, Any], *, printed_at: datetime | None = None, address: str = ""
) -> bytes:
    """
    Return the sheet of `queries.sheet` as a PDF.

    Parameters
    ----------
    sheet : mapping
        As `planning.batch_sheets.queries.sheet` returns it.
    printed_at : datetime, optional
        Shown on every page, so that two prints can be told apart.
    address : str
        Where the shop's pages are, without a slash at the end; the codes point there. By default
        the setting PUBLIC_URL.
    """
    site = sheet["site"]
    zone = site["time_zone"]
    address = address or getattr(settings, "PUBLIC_URL", "http://localhost:8000").rstrip("/")
    head = [site["name"], f"{sheet['day']:%a %d %b %Y}", sheet["revision"]]
    if printed_at is not None:
        head.append(f"printed {day_clock_text(printed_at, zone)}")
    pdf = paper.paper("  ·  ".join(head))
    pdf.set_title(f"Batch sheet {sheet['day']:%Y-%m-%d}")
    _summary(pdf, sheet, zone, address)
    for batch in sheet["batches"]:
        _batch(pdf, batch, sheet, zone, address)
    return bytes(pdf.output())


def _summary(pdf: FPDF, sheet: Mapping[str, Any], zone: str, address: str) -> None:
    pdf.add_page()
    top = pdf.get_y()
    paper.code(pdf, f"{address}/today/?day={sheet['day']:%Y-%m-%d}", 172, top - 2, 28)
    paper.text(pdf, f"Batch sheet, {sheet['day']:%A %d %B %Y}", 17, bold=True)
    totals = sheet["totals"]
    paper.text(pdf, f"{sheet['site']['name']}. Plan: {sheet['revision']}.")
    paper.text(
        pdf,
        f"{len(sheet['batches'])} batches, {totals['target_kg']:.3f} kg to weigh, "
        f"{totals['poured_kg']:.3f} kg to pour.",
    )
    pdf.set_y(max(pdf.get_y(), top + 26))
    if sheet["changed_since_print"]:
        _changes(pdf, sheet, zone)
    _cautions(pdf, sheet)
    if sheet["fetch"]:
        paper.heading(pdf, "Fetch first")
        paper.grid(
            pdf,
            ["Shelf", "Container", "Material, lot", "kg", "Prepare", "Got"],
            [26, 34, 56, 24, 34, 12],
            [_fetch_row(row, zone) for row in sheet["fetch"]],
        )
    if sheet["steps"]:
        paper.heading(pdf, "Coats and other work")
        paper.grid(
            pdf,
            ["From", "To", "Work", "Tool", "Who", "Ready", "Done"],
            [16, 16, 62, 38, 26, 16, 12],
            [
                [
                    clock_text(step["start_at"], zone),
                    clock_text(step["end_at"], zone),
                    step["name"],
                    step["pour"],
                    ", ".join(step["people"]),
                    clock_text(step["ready_at"], zone),
                    None,
                ]
                for step in sheet["steps"]
            ],
        )
    if sheet["demoulds"]:
        paper.heading(pdf, "May be demoulded")
        paper.grid(
            pdf,
            ["From", "Casting", "Place", "Hardness, look", "Signed"],
            [34, 50, 34, 42, 26],
            [
                [day_clock_text(row["due_at"], zone), row["pour"], row["place"], None, None]
                for row in sheet["demoulds"]
            ],
        )


def _changes(pdf: FPDF, sheet: Mapping[str, Any], zone: str) -> None:
    """Say in a frame what the paper on the wall does not say."""
    was = sheet["printed"]
    words = [f"THE PLAN HAS CHANGED since {day_clock_text(was['at'], zone)}, when a sheet of this "
             f"day was printed from {was['revision']}. Throw that one away."]  # fmt: skip
    paper.text(pdf, words[0], 12, True)
    shown = sheet["changes"][:MOST_CHANGES]
    left = len(sheet["changes"]) - len(shown)
    more = [f"and {left} more."] if left else []
    paper.text(pdf, "  ".join([*shown, *more]), paper.SMALL_PT)


def _cautions(pdf: FPDF, sheet: Mapping[str, Any]) -> None:
    lines = [f"{row['code']} {row['text']}" for row in sheet["cautions"]]
    paper.text(pdf, "Cautions", 11, bold=True)
    paper.text(pdf, "  ".join(lines) or "No hazard statement is recorded.", paper.SMALL_PT)
    paper.text(pdf, FOLLOW, paper.SMALL_PT, bold=True)


def _fetch_row(row: Mapping[str, Any], zone: str) -> list[Any]:
    prepare = []
    if row["stir"]:
        prepare.append("stir up the filler")
    if row["warm_from"] is not None:
        prepare.append(f"warm from {day_clock_text(row['warm_from'], zone)}")
    good = "" if row["expires_on"] is None else f", good to {row['expires_on']:%Y-%m-%d}"
    return [
        row["shelf"],
        row["container"],
        f"{row['material']}, {row['lot']}{good}",
        f"{row['kg']:.4f}",
        "; ".join(prepare),
        None,
    ]


def _batch(
    pdf: FPDF, batch: Mapping[str, Any], sheet: Mapping[str, Any], zone: str, address: str
) -> None:
    figures = printed(batch)
    pdf.add_page()
    top = pdf.get_y()
    paper.code(pdf, f"{address}/batches/{batch['id']}/", 172, top - 2, 28)
    paper.text(pdf, f"Batch {batch['number']}", paper.LARGE_PT, bold=True)
    for words in (
        f"{batch['system']}, {batch['ratio']}, ± {batch['ratio_tolerance_percent']} % of the "
        "hardener",
        f"Mixer {batch['mixer'] or '–'}  ·  scale {batch['scale'] or '–'}  ·  "
        f"{', '.join(batch['people']) or 'nobody named'}",
    ):
        pdf.set_font(paper.FACE, "", paper.TEXT_PT)
        pdf.multi_cell(155, 5, words, align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.set_y(max(pdf.get_y(), top + 26))
    _clocks(pdf, batch, zone)
    paper.heading(pdf, "Weigh, kg")
    rows = [
        [
            f"{line['role']}: {line['material']}",
            f"{line['container']}, lot {line['lot']}, {line['shelf'] or 'no shelf'}",
            target,
            f"{low} to {high}",
            None,
            None,
        ]
        for line, target, low, high in zip(
            batch["lines"], figures.targets, figures.lows, figures.highs, strict=True
        )
    ]
    rows.append(["In the pot", "", figures.total, "", None, None])
    heads = ["What", "From", "Target", "Within", "Weighed", "OK"]
    paper.grid(pdf, heads, [44, 42, 36, 28, 26, 10], rows, large=(2,))
    _work(pdf, sheet, batch, zone)
    _pour(pdf, batch, figures, zone)


def _pour(pdf: FPDF, batch: Mapping[str, Any], figures: PrintedBatch, zone: str) -> None:
    """Draw what goes where and the lines to sign on, all of it on one page."""
    rows = [
        [
            f"{p['pour']} lift {p['lift']}, {p['tool']}",
            _into(p),
            kg,
            clock_text(p["start_at"], zone),
            None,
            None,
        ]
        for p, kg in zip(batch["portions"], figures.portions, strict=True)
    ]
    rows.append(["Left in the pot and on the tools", "", figures.left, "", None, None])
    heads = ["Into", "How", "Target", "From", "Poured, at", "OK"]
    widths = [40, 52, 36, 16, 32, 10]
    table_mm = paper.grid_height(pdf, widths, rows, large=(2,))
    if pdf.will_page_break(paper.HEADING_MM + table_mm + paper.SIGNATURES_MM):
        pdf.add_page()
        _again(pdf, batch, zone)
    paper.heading(pdf, "Pour, kg")
    paper.grid(pdf, heads, widths, rows, large=(2,))
    paper.signatures(
        pdf, ["Weighed by", "Mixed and poured by", "Air °C / humidity % / surface °C"]
    )


def _again(pdf: FPDF, batch: Mapping[str, Any], zone: str) -> None:
    """Head a batch's second page, which may lie apart from the first."""
    paper.text(pdf, f"Batch {batch['number']}, second page", paper.LARGE_PT, bold=True)
    paper.text(
        pdf,
        f"{batch['system']}. First contact {clock_text(batch['contact_at'], zone)}, pot dead at "
        f"{clock_text(batch['latest_pour_at'], zone)}.",
        12,
        bold=True,
    )


def _into(portion: Mapping[str, Any]) -> str:
    words = [f"{portion['depth_mm']:.1f} mm deep"]
    if portion["place"]:
        words.append(portion["place"])
    if portion["abrade_first"]:
        words.append("ABRADE AND CLEAN the lift below first")
    if portion["brush_coat_kg"]:
        words.append(f"brush coat {portion['brush_coat_kg']:.3f} kg of it first")
    return "; ".join(words)


def _clocks(pdf: FPDF, batch: Mapping[str, Any], zone: str) -> None:
    cells = [
        ("Begin weighing", clock_text(batch["start_at"], zone)),
        ("First contact", clock_text(batch["contact_at"], zone)),
        ("Pour from", clock_text(batch["pour_start_at"], zone)),
        ("Pot dead at", clock_text(batch["latest_pour_at"], zone)),
        ("Pot life, min", str(batch["pot_life_min"])),
    ]
    width = paper.WIDTH_MM / len(cells)
    y = pdf.get_y()
    for i, (label, value) in enumerate(cells):
        x = paper.MARGIN_MM + i * width
        pdf.rect(x, y, width, 17)
        pdf.set_xy(x + 1, y + 1)
        pdf.set_font(paper.FACE, "", paper.SMALL_PT)
        pdf.cell(width - 2, 4, label)
        pdf.set_xy(x + 1, y + 6)
        pdf.set_font(paper.FACE, "B", paper.LARGE_PT)
        pdf.cell(width - 2, 9, value)
    pdf.set_xy(paper.MARGIN_MM, y + 18)
    basis = batch["pot_life_basis"]
    note = "Times count from the planned first contact. If mixing begins later or earlier, the "
    note += "pot dies that much later or earlier; a warmer shop shortens it."
    paper.text(pdf, f"{note} Pot life: {basis}." if basis else note, paper.SMALL_PT)


def _work(pdf: FPDF, sheet: Mapping[str, Any], batch: Mapping[str, Any], zone: str) -> None:
    stir = [f"Stir up {name} in its can before weighing." for name in batch["stir"]]
    steps = [*stir, *sheet["pouring_steps"]]
    if pdf.will_page_break(paper.HEADING_MM + 6.5 * len(steps)):
        pdf.add_page()
        _again(pdf, batch, zone)
    paper.heading(pdf, "Work")
    for words in steps:
        if pdf.will_page_break(9):
            pdf.add_page()
        y = pdf.get_y()
        paper.tickbox(pdf, paper.MARGIN_MM, y + 0.5, 5)
        pdf.set_xy(paper.MARGIN_MM + 8, y + 0.5)
        pdf.set_font(paper.FACE, "", paper.TEXT_PT)
        pdf.multi_cell(paper.WIDTH_MM - 8, 5, words, align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.set_y(max(pdf.get_y(), y + 6.5))
