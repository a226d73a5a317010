"""The day's sheet as a PDF: one summary, then one batch a page."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.conf import settings

from planning.batch_sheets import pdf_paper as paper
from planning.batch_sheets import words
from planning.batches.printed import PrintedBatch, clock_text, day_clock_text, printed

if TYPE_CHECKING:
    from fpdf import FPDF

MOST_CHANGES = 12
RULE_MM = 10
"""Two lines on how much hardener goes to the resin really weighed."""
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
            [20, 52, 52, 18, 32, 12],
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
                    words.step_of(step, zone),
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
    head = (f"THE PLAN HAS CHANGED since {day_clock_text(was['at'], zone)}, when a sheet of this "
             f"day was printed from {was['revision']}. Throw that one away.")  # fmt: skip
    paper.text(pdf, head, 12, True)
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
    return [
        row["shelf"],
        row["container"],
        f"{row['material']}, {row['lot']}{_good(row)}",
        f"{row['kg']:.3f}",
        "; ".join(prepare),
        None,
    ]


def _good(row: Mapping[str, Any]) -> str:
    """Return until when a lot may be used, in words."""
    return "" if row["expires_on"] is None else f", good to {row['expires_on']:%d %b %Y}"


def _batch(
    pdf: FPDF, batch: Mapping[str, Any], sheet: Mapping[str, Any], zone: str, address: str
) -> None:
    figures = printed(batch)
    pdf.add_page()
    top = pdf.get_y()
    paper.code(pdf, f"{address}/batches/{batch['id']}/", 174, top - 2, 25)
    paper.text(pdf, f"Batch {batch['number']}", paper.LARGE_PT, bold=True)
    for line_of_head in (
        f"{batch['system']}, {batch['ratio']}, ± {batch['ratio_tolerance_percent']} % of the "
        "hardener",
        f"Mixer {batch['mixer'] or '–'}  ·  scale {batch['scale'] or '–'}  ·  "
        f"{', '.join(batch['people']) or 'nobody named'}",
    ):
        pdf.set_font(paper.FACE, "", paper.TEXT_PT)
        pdf.multi_cell(155, 5, line_of_head, align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.set_y(max(pdf.get_y(), top + 23))
    _clocks(pdf, batch, zone)
    paper.heading(pdf, "Weigh, kg")
    rows = [
        [
            f"{line['role'].capitalize()}: {line['material']}",
            f"{line['container']}, lot {line['lot']}, {line['shelf'] or 'no shelf'}{_good(line)}",
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
    begun_on = pdf.page_no()
    paper.grid(pdf, heads, [36, 64, 33, 22, 22, 9], rows, large=(2,))
    if pdf.page_no() != begun_on:
        _again(pdf, batch, zone)
    _work(pdf, batch, zone)
    _pour(pdf, batch, figures, zone)


def _pour(pdf: FPDF, batch: Mapping[str, Any], figures: PrintedBatch, zone: str) -> None:
    """Draw what goes where and the lines to sign on, all of it on one page."""
    rows = [
        [
            f"{p['pour']}, {p['tool']}",
            words.how_of(p),
            kg,
            clock_text(p["start_at"], zone),
            None,
            None,
        ]
        for p, kg in zip(batch["portions"], figures.portions, strict=True)
    ]
    rows.append(["Left", "in the pot and on the tools", figures.left, "", None, None])
    heads = ["Into", "How", "Target", "From", "Poured, at", "OK"]
    widths = [30, 80, 33, 14, 21, 8]
    after = [
        f"{p['pour']}: {told}" for p in batch["portions"] if (told := words.after_of(p, zone))
    ]
    table_mm = paper.grid_height(pdf, widths, rows, large=(2,)) + 5 * len(after)
    if pdf.will_page_break(paper.HEADING_MM + table_mm + paper.FOOT_MM):
        pdf.add_page()
        _again(pdf, batch, zone)
    paper.heading(pdf, "Pour, kg")
    paper.grid(pdf, heads, widths, rows, large=(2,))
    for line in after:
        paper.text(pdf, line, paper.SMALL_PT)
    paper.signatures(
        pdf, ["Weighed by", "Mixed and poured by", "Air °C / humidity % / surface °C / mix °C"]
    )
    lines = [f"{row['code']} {row['text']}" for row in batch["cautions"]]
    cautions = "  ".join(lines) or "No hazard statement is recorded."
    assumed = "  ".join(row["text"] for row in batch["assumed"])
    paper.text(pdf, f"{cautions}  {FOLLOW}  {assumed}".strip(), paper.FINE_PT)


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
        pdf.rect(x, y, width, 15)
        pdf.set_xy(x + 1, y + 1)
        pdf.set_font(paper.FACE, "", paper.SMALL_PT)
        pdf.cell(width - 2, 4, label)
        pdf.set_xy(x + 1, y + 5)
        pdf.set_font(paper.FACE, "B", paper.LARGE_PT)
        pdf.cell(width - 2, 9, value)
    pdf.set_xy(paper.MARGIN_MM, y + 16.5)
    basis = batch["pot_life_basis"]
    really = f"Really: first contact at ________ + {batch['pot_life_min']} min = dead at ________"
    paper.text(pdf, really, 12, bold=True)
    note = f"Pot life: {basis}; a warmer shop shortens it." if basis else "Shorter if warmer."
    paper.text(pdf, f"{note} {batch['mix_words']}", paper.FINE_PT)


def _work(pdf: FPDF, batch: Mapping[str, Any], zone: str) -> None:
    steps = words.work_of(batch)
    if pdf.will_page_break(RULE_MM + paper.HEADING_MM + 5.6 * len(steps)):
        pdf.add_page()
        _again(pdf, batch, zone)
    paper.text(pdf, words.hardener_rule(batch), paper.SMALL_PT)
    paper.heading(pdf, "Work")
    for step in steps:
        if pdf.will_page_break(9):
            pdf.add_page()
        y = pdf.get_y()
        paper.tickbox(pdf, paper.MARGIN_MM, y + 0.5, 4.4)
        pdf.set_xy(paper.MARGIN_MM + 8, y + 0.6)
        pdf.set_font(paper.FACE, "", 9.5)
        pdf.multi_cell(paper.WIDTH_MM - 8, 4.2, step, align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.set_y(max(pdf.get_y(), y + 5.4))
