"""
The day's sheet as a PDF: what to fetch, an index, then one batch a page.

It is the one layout on paper: the page of the sheet prints it too. It is laid out twice, so that
the index can name pages and each page can say of how many it is one.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from django.conf import settings

from planning.batch_sheets import pdf_paper as paper
from planning.batch_sheets import words
from planning.batch_sheets.pdf_batch import draw_batch
from planning.batches.care import CARE
from planning.batches.models import EntryKind
from planning.batches.printed import clock_text, day_clock_text

if TYPE_CHECKING:
    from planning.batch_sheets.pdf_paper import Paper

MOST_CHANGES = 12
DAY = "Day's sheet"


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
        the setting PUBLIC_URL. A code is understood under any address.
    """
    zone = sheet["site"]["time_zone"]
    address = address or getattr(settings, "PUBLIC_URL", "http://localhost:8000").rstrip("/")
    parts = [f"{sheet['day']:%a %d %b %Y}"]
    if printed_at is not None:
        parts.append(f"printed {day_clock_text(printed_at, zone)}")
    head = " · ".join([*parts, sheet["revision"], sheet["site"]["name"]])
    counted = _laid_out(sheet, head, zone, address, None)
    return bytes(_laid_out(sheet, head, zone, address, counted).output())


def _laid_out(
    sheet: Mapping[str, Any], head: str, zone: str, address: str, counted: Paper | None
) -> Paper:
    pdf = paper.paper(head, counted)
    pdf.set_title(f"Batch sheet {sheet['day']:%Y-%m-%d}")
    pdf.begin(DAY)
    _summary(pdf, sheet, zone, address)
    for batch in sheet["batches"]:
        pdf.begin(f"Batch {batch['number']}")
        draw_batch(pdf, batch, zone, address)
    return pdf


def _summary(pdf: Paper, sheet: Mapping[str, Any], zone: str, address: str) -> None:
    top = pdf.get_y()
    paper.code(pdf, f"{address}/today/?day={sheet['day']:%Y-%m-%d}", 172, top - 2, 28)
    paper.text(pdf, f"Batch sheet, {sheet['day']:%A %d %B %Y}", 17, bold=True)
    totals = sheet["totals"]
    paper.text(
        pdf, f"{sheet['site']['name']}. Plan: {sheet['revision']}.", width=paper.BESIDE_CODE_MM
    )
    paper.text(
        pdf,
        f"{len(sheet['batches'])} batch{'' if len(sheet['batches']) == 1 else 'es'}, "
        f"{totals['target_kg']:.3f} kg to weigh, "
        f"{totals['poured_kg']:.3f} kg to pour.",
        width=paper.BESIDE_CODE_MM,
    )
    pdf.set_y(max(pdf.get_y(), top + 26))
    if sheet["changed_since_print"]:
        _changes(pdf, sheet, zone)
    _cautions(pdf, sheet)
    _emergency(pdf)
    if sheet["batches"]:
        _index(pdf, sheet, zone)
    if sheet["fetch"]:
        paper.heading(pdf, "Fetch first")
        paper.grid(
            pdf,
            ["Shelf", "Container", "Material, lot", "kg", "Prepare", "Got"],
            [24, 36, 60, 16, 40, 10],
            [_fetch_row(row, zone) for row in sheet["fetch"]],
            size=paper.SMALL_PT,
        )
    if sheet["steps"]:
        paper.heading(pdf, "Coats and other work")
        paper.grid(
            pdf,
            ["From", "To", "Work", "Tool", "Who", "Ready", "Done"],
            [14, 14, 62, 40, 28, 16, 12],
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
            size=paper.SMALL_PT,
        )
    if sheet["tools"]:
        paper.heading(pdf, "Tools to coat and inspect")
        paper.grid(
            pdf,
            ["Tool", "Place", "Work, and why", "Due", "Done"],
            [40, 24, 90, 20, 12],
            [_tool_row(row, sheet["day"]) for row in sheet["tools"]],
            size=paper.SMALL_PT,
        )
    if sheet["demoulds"]:
        paper.heading(pdf, "To be demoulded")
        paper.grid(
            pdf,
            ["Not before", "Casting", "Place", "Hardness, look", "Signed"],
            [34, 50, 34, 42, 26],
            [
                [
                    day_clock_text(row["due_at"], zone),
                    f"{row['pour']}: {row['first']}" if row["first"] else row["pour"],
                    row["place"],
                    None,
                    None,
                ]
                for row in sheet["demoulds"]
            ],
        )
        paper.text(pdf, words.DEMOULD_NOT_BEFORE, paper.SMALL_PT)
        for row in sheet["demoulds"]:
            paper.text(pdf, f"{row['pour']}: {row['edges']}.", paper.FINE_PT)


def _tool_row(row: Mapping[str, Any], day: date) -> list[Any]:
    due = "today" if row["due_on"] == day else f"{row['due_on']:%d %b}"
    words = f"{row['work']}. {row['words']} {row['recipe']}".rstrip()
    return [f"{row['tool']}, {row['name']}", row["place"], words, due, None]


def _changes(pdf: Paper, sheet: Mapping[str, Any], zone: str) -> None:
    """Say in a frame what the paper on the wall does not say."""
    was = sheet["printed"]
    head = (f"THE PLAN HAS CHANGED since {day_clock_text(was['at'], zone)}, when a sheet of this "
             f"day was printed from {was['revision']}. Throw that one away.")  # fmt: skip
    paper.text(pdf, head, 12, True)
    shown = sheet["changes"][:MOST_CHANGES]
    left = len(sheet["changes"]) - len(shown)
    more = [f"and {left} more."] if left else []
    paper.text(pdf, "  ".join([*shown, *more]), paper.SMALL_PT)


def _cautions(pdf: Paper, sheet: Mapping[str, Any]) -> None:
    lines = [f"{row['code']} {row['text']}" for row in sheet["cautions"]]
    pdf.ln(1)
    paper.text(pdf, "Cautions", 11, bold=True)
    paper.text(pdf, "  ".join(lines) or "No hazard statement is recorded.", paper.SMALL_PT)
    paper.text(pdf, words.FOLLOW, paper.SMALL_PT, bold=True)


def _emergency(pdf: Paper) -> None:
    """Say what to do about trouble at a pot, whole and once; a batch's page has it in short."""
    pdf.ln(1)
    paper.text(pdf, "If something goes wrong", 11, bold=True)
    for kind, care in CARE.items():
        paper.named_text(pdf, EntryKind(kind).label, " ".join(care), paper.EMERGENCY_PT)
    paper.text(pdf, words.EMERGENCY_NUMBER, paper.EMERGENCY_PT, bold=True)


def _index(pdf: Paper, sheet: Mapping[str, Any], zone: str) -> None:
    paper.heading(pdf, "Batches of the day")
    paper.grid(
        pdf,
        ["Begin", "Batch", "Into", "kg", "Who", "Page"],
        [14, 26, 62, 18, 54, 12],
        [
            [
                clock_text(batch["start_at"], zone),
                batch["number"],
                ", ".join(f"{p['pour']} lift {p['lift']}" for p in batch["portions"]),
                f"{batch['target_kg']:.3f}",
                ", ".join(batch["people"]),
                pdf.page_of(f"Batch {batch['number']}"),
            ]
            for batch in sheet["batches"]
        ],
        size=paper.SMALL_PT,
    )


def _fetch_row(row: Mapping[str, Any], zone: str) -> list[Any]:
    prepare = []
    if row["stir"]:
        prepare.append("stir up the filler")
    if row["warm_from"] is not None:
        prepare.append(f"warm from {day_clock_text(row['warm_from'], zone)}")
    return [
        row["shelf"],
        row["container"],
        f"{row['material']}, {row['lot']}{words.good_to(row)}",
        f"{row['kg']:.3f}",
        "; ".join(prepare),
        None,
    ]
