"""One lift, one set of figures: workbench, plan, sheet and clock ask the same functions."""

import math
from datetime import timedelta
from decimal import Decimal

import pytest

from planning.batches.models import Batch, Lift
from planning.clocks.deadline import deadline_of
from planning.clocks.models import Cure
from planning.clocks.words import edges_words
from planning.core import plain
from planning.core import plan as core
from planning.weigh_in import actions
from planning.weigh_in.gate import Passing
from shared import clock
from shop.models import ResinSystem
from tests.callers import caller
from tests.conftest import make_user
from tests.factories.floor import sign_off

SHOP_C = "22"
"""As the invented shop expects."""
WIDTH_MM = 100


@pytest.fixture
def ask(shop_site):
    client = caller(make_user("planner", shop_site), [shop_site])

    def call(name, **query):
        sent = {key: value for key, value in query.items() if value}
        answer = client.get(f"/api/v1/workbench/{name}", {"system": "T"} | sent)
        assert answer.status_code == 200, answer.content
        return answer.json()

    return call


@pytest.mark.parametrize(
    ("cap_c", "mix_c", "basis", "length_mm"),
    [("80", "", "datasheet", 200), ("50", "", "computed", 400), ("80", "34", "computed", 200)],
)
def test_workbench_plan_sheet_and_clock_say_the_same_of_one_lift(
    take, planned, shop_site, ask, time_machine, cap_c, mix_c, basis, length_mm
):
    ResinSystem.objects.filter(code="T").update(cap_c=Decimal(cap_c))
    here = {"shop_c": SHOP_C, "tool_side": "board"}
    bench = [ask("lift", depth_mm="40", mix_c=mix, **here) for mix in {"", mix_c}]
    strictest = min(bench, key=lambda one: float(one["deepest_lift_mm"]))
    assert strictest["deepest_lift_basis"] == basis
    deepest = math.floor(float(strictest["deepest_lift_mm"])) - (basis == "computed")
    fields = {} if mix_c == "" else {"mix_c": mix_c}
    fields |= {"length_mm": length_mm, "width_mm": WIDTH_MM}
    plan = planned(take(system="T", depth_mm=str(deepest), **fields))

    # The plan: deepest lift, then the clocks of the deepest lift, which this one is to the mm.
    problem = plain.from_plain(core.Problem, plan.problem)
    allowed = problem.pours[0].deepest_lift_mm
    assert allowed == pytest.approx(float(strictest["deepest_lift_mm"]), abs=0.5)
    assert deepest <= allowed < deepest + 2.6
    lift, batch = Lift.objects.get(), Batch.objects.get()
    peaks_h = [
        float(ask("lift", depth_mm=f"{allowed:.4f}", mix_c=mix, **here)["peak_h"])
        for mix in {"", mix_c}
    ]
    assert lift.attend_min == pytest.approx(60 * max(peaks_h), abs=4), "peak_h has one decimal"
    cure = ask("cure", then_c=SHOP_C)
    conditions = problem.systems[0].conditions[0]
    assert conditions.cure_min == pytest.approx(60 * float(cure["demould_due_h"]), abs=4)

    # Pot life: workbench, batch, sheet, deadline.
    lives = [
        float(
            ask("pot-life", shop_c=SHOP_C, mix_c=mix, batch_kg=f"{batch.mixed_kg:.6f}")[
                "pot_life_min"
            ]
        )
        for mix in {"", mix_c}
    ]
    day = clock.local(batch.planned_start, shop_site).date()
    client = caller(make_user("technician", shop_site), [shop_site])
    (row,) = client.get(f"/api/v1/sheets/{day}?site={shop_site.code}").json()["batches"]
    assert batch.pot_life_min == pytest.approx(min(lives), abs=1.0)
    assert row["pot_life_min"] == batch.pot_life_min == deadline_of(batch).pot_life_min
    assert row["portions"][0]["attend_min"] == lift.attend_min

    # The clock, once it is poured and nothing has been read: best estimates are the plan's.
    pour_all(batch, time_machine)
    found = Cure.objects.get()
    best_peak = getattr(found, "peak_best_at", None) or found.peak_due_at
    after = (best_peak - found.poured_at) / timedelta(minutes=1)
    assert after == pytest.approx(lift.attend_min, rel=0.03)
    assert found.peak_due_at >= best_peak - timedelta(minutes=1)
    due = found.demould_due_at
    assert due is None or due >= found.poured_at + timedelta(
        hours=float(cure["demould_due_h"]) - 0.05
    )
    edges_are_the_same(found, ask, client, length_mm, here)


def edges_are_the_same(found, ask, client, length_mm, here):
    """The workbench's factor for the edges is the one that clock, sheet and page tell."""
    lift = found.lift
    depth_mm = float(lift.depth_mm)
    shape, across_mm = "long", WIDTH_MM
    if length_mm < 3 * WIDTH_MM:
        shape, across_mm = "round", math.sqrt(4 * length_mm * WIDTH_MM / math.pi)
    bench = ask(
        "section", shape=shape, width_mm=f"{across_mm:.3f}", depth_mm=f"{depth_mm:.3f}",
        wall_side="board", **here,
    )  # fmt: skip
    told = found.edges["share"]
    assert found.edges["width_known"]
    assert told > 1.0
    assert told - 0.1 - 0.006 <= float(bench["edge_share"]) <= told + 0.006, "up to a tenth"
    words = edges_words(found.edges)
    assert words in found.basis
    site = found.lift.pour.order.site
    day = clock.local(found.expected_at, site).date()
    rows = client.get(f"/api/v1/sheets/{day}?site={site.code}").json()["demoulds"]
    assert [row["edges"] for row in rows] == [words]


def pour_all(batch, time_machine):
    sign_off(batch)
    because = Passing("nothing is read in this test", "Petra Planner")
    for line in batch.lines.all():
        actions.record_weighing(
            line=line, weighed_kg=line.target_kg, key=f"w{line.pk}",
            at=batch.planned_start, now=batch.planned_start,
        )  # fmt: skip
    at = batch.planned_contact
    actions.record_entry(batch=batch, kind="contact", key="c", at=at, now=at, passing=because)
    at = batch.planned_pour_start + timedelta(minutes=2)
    time_machine.move_to(at, tick=False)
    actions.record_entry(batch=batch, kind="poured", key="p", at=at, now=at, passing=because)
