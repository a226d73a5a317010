"""A file of forty pours from outside the demo becomes a plan that breaks no rule, and sheets."""

from __future__ import annotations

import io
import json
import random
import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.management import call_command

from planning.batches.models import Batch
from planning.core import plain
from planning.core.check import check
from planning.core.plan import Plan, Problem
from planning.pours.models import Pour
from tests.planning.conftest import now, shop_site, stocked  # noqa: F401 fixtures

WEEK = "2026-W49"
COLUMNS = (
    "order,tool,route,due_on,half,system,length_mm,width_mm,depth_mm,pattern_l,"
    "pattern_height_mm,tool_side,release_recipe,priority"
)


def forty_pours(monday) -> str:
    """Invented boxes, the same on every run."""
    chance = random.Random(40)
    rows = [COLUMNS]
    for n in range(1, 41):
        system = chance.choice(["T", "Q"])
        length, width = chance.randrange(120, 300, 5), chance.randrange(100, 200, 5)
        depth = chance.randrange(25, 35 if system == "Q" else 55)
        pattern_l = round(length * width * depth * 0.25 / 1e6, 3)
        due = (monday + timedelta(days=chance.randrange(3, 11))).date()
        rows.append(
            f"F-{n:03d},FORTY-{n},single,{due},A,{system},{length},{width},{depth},{pattern_l},"
            f"{depth // 2},board,WAX5,{chance.choice([1, 1, 1, 2])}"
        )
    return "\r\n".join(rows) + "\r\n"


@pytest.fixture
def folder(tmp_path, time_machine_at_now):
    return tmp_path


@pytest.fixture
def time_machine_at_now(now):  # noqa: F811
    import time_machine

    with time_machine.travel(now, tick=False):
        yield


def said(*command: str) -> str:
    out = io.StringIO()
    call_command(*command, stdout=out)
    return out.getvalue()


def printed_kg(pdf: bytes, row: str) -> list[Decimal]:
    from pypdf import PdfReader

    words = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)
    words = re.sub(r"\s+", " ", words)
    return [Decimal(kg) for kg in re.findall(rf"{row} (\d+\.\d+)", words)]


def test_forty_pours_from_a_file(shop_site, now, folder):  # noqa: F811
    (folder / "pours.csv").write_text(forty_pours(now), newline="")
    assert "40 orders with 40 pours" in said("load_pours", str(folder / "pours.csv"))

    words = said("plan_week", WEEK, "--seconds", "5", "--confirm", "--export", str(folder))
    assert "rules broken: 0" in words
    problem = plain.loads(Problem, (folder / "problem.json").read_text())
    plan = plain.loads(Plan, (folder / "plan.json").read_text())
    assert check(problem, plan) == []
    assert len(problem.pours) == 40
    assert plan.figures.unplaced <= 10, [row.words for row in plan.unplaced]
    assert Batch.objects.count() == plan.figures.pots

    in_pots, left, poured = [], [], Decimal(0)
    for day in range(14):
        when = (now + timedelta(days=day)).date().isoformat()
        said("batch_sheet", when, "--pdf", str(folder / "sheet.pdf"))
        pdf = (folder / "sheet.pdf").read_bytes()
        in_pots += printed_kg(pdf, "In the pot")
        left += printed_kg(pdf, "Left in the pot and on the tools")
        totals = json.loads(said("batch_sheet", when, "--json"))["totals"]
        poured += Decimal(totals["poured_kg"])
    placed = Pour.objects.filter(status="planned")
    wanted = sum(placed.values_list("mass_kg", flat=True))
    assert len(in_pots) == Batch.objects.count()
    assert abs(poured - wanted) < Decimal("0.0001") * placed.count()
    half_a_gram = Decimal("0.0005") * placed.count()
    assert abs(sum(in_pots) - sum(left) - wanted) <= half_a_gram * 2
