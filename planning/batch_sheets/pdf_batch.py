"""A batch's page on paper: times, what to weigh, work, what to pour, and room to write."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from planning.batch_sheets import pdf_paper as paper
from planning.batch_sheets import words
from planning.batches.printed import PrintedBatch, clock_text, printed
from shared.codes.finding import code_of, path_to

if TYPE_CHECKING:
    from planning.batch_sheets.pdf_paper import Paper

WEIGH = ["What", "From", "Target", "Within", "Other can", "Weighed, kg", "OK"]
WEIGH_MM = [45, 38, 30, 17, 20, 28, 8]
POUR = ["Into", "How", "Target", "From", "Poured, kg", "At", "OK"]
POUR_MM = [41, 51, 30, 12, 26, 18, 8]
RULE_MM = 8
CLOCK_MM = 13
REALLY = "first contact at ________ + ______ min from the table = pour by ________"
LEFT = "in the pot and on the tools"
SPREAD = "What is left: spread it thin or pour it into a tray, never leave it deep in the pot."


def draw_batch(pdf: Paper, batch: Mapping[str, Any], zone: str, address: str) -> None:
    """Draw one batch on a page of its own; what does not fit goes over in whole parts."""
    figures = printed(batch)
    _head(pdf, batch, address)
    _clocks(pdf, batch, zone)
    _pour_by(pdf, batch)
    paper.heading(pdf, "Weigh, kg")
    rows = [
        [
            f"{line['role'].capitalize()}: {line['material']}",
            f"{line['container']}, lot {line['lot']}, {line['shelf'] or 'no shelf'}"
            f"{words.good_to(line)}",
            target,
            f"{low} to {high}",
            None,
            None,
            None,
        ]
        for line, target, low, high in zip(
            batch["lines"], figures.targets, figures.lows, figures.highs, strict=True
        )
    ]
    rows.append(["Put right or added", None, None, None, None, None, None])
    rows.append(["In the pot", "", figures.total, "", "", None, None])
    paper.grid(pdf, WEIGH, WEIGH_MM, rows, large=(2,), size=paper.CELL_PT)
    _work(pdf, batch, zone)
    _pour(pdf, batch, figures, zone)


def _head(pdf: Paper, batch: Mapping[str, Any], address: str) -> None:
    top = pdf.get_y()
    paper.code(pdf, f"{address}{path_to('batch', batch['id'])}", 176, top - 2, 24)
    pdf.set_xy(150, top + 12)
    pdf.set_font(paper.FACE, "B", paper.TEXT_PT)
    pdf.cell(26, 4, code_of("batch", batch["id"]), align="R")
    pdf.set_xy(136, top + 16.5)
    pdf.set_font(paper.FACE, "", paper.FINE_PT)
    pdf.cell(40, 3, "scan to enter what is written", align="R")
    pdf.set_xy(paper.MARGIN_MM, top)
    paper.text(pdf, f"Batch {batch['number']}", paper.LARGE_PT, bold=True)
    for line in (
        f"{batch['system']}, {batch['ratio']}, ± {batch['ratio_tolerance_percent']} % of the "
        "hardener",
        f"Mixer {batch['mixer'] or '–'}  ·  scale {batch['scale'] or '–'}  ·  "
        f"{', '.join(batch['people']) or 'nobody named'}",
    ):
        paper.text(pdf, line, paper.CELL_PT, width=paper.BESIDE_CODE_MM - 34)
    pdf.set_y(max(pdf.get_y(), top + 22))


def _clocks(pdf: Paper, batch: Mapping[str, Any], zone: str) -> None:
    cells = [
        ("Begin weighing", clock_text(batch["start_at"], zone)),
        ("First contact", clock_text(batch["contact_at"], zone)),
        ("Pour from", clock_text(batch["pour_start_at"], zone)),
        ("Pour by", clock_text(batch["latest_pour_at"], zone)),
        ("Pot life, min", str(batch["pot_life_min"])),
    ]
    width = paper.WIDTH_MM / len(cells)
    y = pdf.get_y()
    for i, (label, value) in enumerate(cells):
        x = paper.MARGIN_MM + i * width
        pdf.rect(x, y, width, CLOCK_MM)
        pdf.set_xy(x + 1, y + 0.5)
        pdf.set_font(paper.FACE, "", paper.FINE_PT)
        pdf.cell(width - 2, 3.5, label)
        pdf.set_xy(x + 1, y + 4)
        pdf.set_font(paper.FACE, "B", paper.LARGE_PT)
        pdf.cell(width - 2, 8.5, value)
    pdf.set_xy(paper.MARGIN_MM, y + CLOCK_MM + 1)
    basis = batch["pot_life_basis"]
    note = f"Pot life: {basis}; a warmer shop shortens it." if basis else "Shorter if warmer."
    paper.text(pdf, f"{note} {batch['mix_words']}", paper.FINE_PT)


def _pour_by(pdf: Paper, batch: Mapping[str, Any]) -> None:
    """Draw the pot life against temperature: paper does not know how warm it is."""
    rows = batch.get("pour_by_mix_c", ())
    if not rows:
        return
    heads = [f"to {rows[0]['celsius']}", *(f"{row['celsius']}" for row in rows[1:])]
    first = 52.0
    width = (paper.WIDTH_MM - first) / len(rows)
    y = pdf.get_y() + 0.5
    lives = [str(row["minutes"]) for row in rows]
    table = (("Warmest of mix, pot, air, °C", heads), ("Pour within, min", lives))
    for n, (label, cells) in enumerate(table):
        for i, cell in enumerate([label, *cells]):
            x = paper.MARGIN_MM + (first + (i - 1) * width if i else 0)
            wide = width if i else first
            pdf.rect(x, y + n * 5, wide, 5)
            pdf.set_xy(x + (0 if i else 1), y + n * 5)
            pdf.set_font(paper.FACE, "B" if n and i else "", paper.SMALL_PT)
            pdf.cell(wide, 5, cell, align="C" if i else "L")
    pdf.set_xy(paper.MARGIN_MM, y + 11)
    paper.text(pdf, f"Really: {REALLY}", 10.5, bold=True)
    last = rows[-1]["celsius"]
    paper.text(
        pdf,
        f"Between two figures the warmer one counts. Warmer than {last} °C: do not pour, ask.",
        paper.FINE_PT,
    )


def _work(pdf: Paper, batch: Mapping[str, Any], zone: str) -> None:
    """Draw what to do, in two columns of boxes to tick."""
    steps = words.work_of(batch)
    gap = 6.0
    width = (paper.WIDTH_MM - gap) / 2
    half = (len(steps) + 1) // 2
    heights = [paper.lines_of(pdf, step, paper.SMALL_PT, width - 6) * 3.6 + 1 for step in steps]
    tall = max(sum(heights[:half]), sum(heights[half:]))
    if pdf.will_page_break(RULE_MM + paper.HEADING_MM + tall):
        _again(pdf, batch, zone)
    paper.text(pdf, words.hardener_rule(batch), paper.FINE_PT)
    paper.heading(pdf, "Work")
    top = pdf.get_y()
    for column, part in enumerate((range(half), range(half, len(steps)))):
        y = top
        x = paper.MARGIN_MM + column * (width + gap)
        for n in part:
            paper.tickbox(pdf, x, y + 0.3, 3.6)
            pdf.set_xy(x + 6, y + 0.3)
            pdf.set_font(paper.FACE, "", paper.SMALL_PT)
            pdf.multi_cell(width - 6, 3.6, steps[n], align="L")
            y += heights[n]
    pdf.set_xy(paper.MARGIN_MM, top + tall)


def _pour(pdf: Paper, batch: Mapping[str, Any], figures: PrintedBatch, zone: str) -> None:
    """Draw what goes where and the lines to sign on, together where a page can hold them."""
    rows = [
        [
            f"{p['pour']}, {p['tool']}",
            words.how_of(p),
            kg,
            clock_text(p["start_at"], zone),
            None,
            None,
            None,
        ]
        for p, kg in zip(batch["portions"], figures.portions, strict=True)
    ]
    rows.append(["Left", LEFT, figures.left, "", None, "", None])
    follows = "  ".join([*_after(batch, zone), SPREAD])
    foot = ((_cautions(batch), paper.FINE_PT), (words.emergency(), paper.EMERGENCY_PT))
    table_mm = paper.grid_height(pdf, POUR_MM, rows, large=(2,), size=paper.CELL_PT)
    text_mm = sum(
        paper.lines_of(pdf, line, size) * size * paper.TEXT_FACTOR
        for line, size in ((follows, paper.FINE_PT), *foot)
    )
    if pdf.will_page_break(paper.HEADING_MM + table_mm + text_mm + paper.WRITE_MM):
        _again(pdf, batch, zone)
    paper.heading(pdf, "Pour, kg")
    paper.grid(pdf, POUR, POUR_MM, rows, large=(2,), size=paper.CELL_PT)
    paper.text(pdf, follows, paper.FINE_PT)
    paper.signatures(
        pdf, ["Weighed by", "Mixed and poured by", "Air °C / humidity % / surface °C / mix °C"]
    )
    paper.blank_line(pdf, "Remarks, corrections")
    for line, size in foot:
        paper.text(pdf, line, size)


def _after(batch: Mapping[str, Any], zone: str) -> list[str]:
    """Return what follows once a portion is in; what is the same for several stands once."""
    told: dict[str, list[str]] = {}
    for portion in batch["portions"]:
        told.setdefault(words.after_of(portion, zone), []).append(portion["pour"])
    return [f"{', '.join(pours)}: {after}" for after, pours in told.items() if after]


def _cautions(batch: Mapping[str, Any]) -> str:
    lines = [f"{row['code']} {row['text']}" for row in batch["cautions"]]
    cautions = "  ".join(lines) or "No hazard statement is recorded."
    assumed = "  ".join(row["text"] for row in batch["assumed"])
    return f"{cautions}  {words.FOLLOW}  {assumed}".strip()


def _again(pdf: Paper, batch: Mapping[str, Any], zone: str) -> None:
    """Go on with a batch on its next page, which may lie apart from the first."""
    pdf.add_page()
    paper.text(
        pdf,
        f"{batch['system']}. First contact planned {clock_text(batch['contact_at'], zone)}, pour "
        f"by {clock_text(batch['latest_pour_at'], zone)} as planned.",
        10.5,
        bold=True,
    )
