from decimal import Decimal

import pytest

from planning.batches.lines import _shared_out, batch_lines
from planning.batches.models import Batch, BatchLine
from planning.core.plan import LotUse
from planning.pours.models import Pour, PourStep
from planning.schedule import actions
from planning.schedule.models import PlanState, WeekPlan
from planning.schedule.withdrawing import withdraw_pours
from shared.errors import Invalid, ShopError
from shop import stores
from shop.models import Container, Reservation
from shop.stores_types import ScaleInfo


def test_a_plan_is_judged_before_it_is_ready(take, shop_site, now):
    take()
    wish = actions.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    plan = actions.solve(plan_id=wish.pk, now=now)
    assert plan.state == PlanState.READY
    assert plan.violations == []
    assert plan.plan["unplaced"] == []


def test_confirming_numbers_batches_reserves_lots_and_dates_steps(take, planned):
    pour = take()
    planned(pour)
    batch = Batch.objects.get()
    assert batch.number == "B26-00001"
    assert Pour.objects.get().status == "planned"
    lines = list(batch.lines.all())
    assert {line.role for line in lines} == {"resin", "hardener"}
    for line in lines:
        reservation = Reservation.objects.get(purpose=f"batch:{batch.pk}:{line.order}")
        assert reservation.quantity == line.target_kg
        assert line.container.reserved == line.target_kg
    assert not PourStep.objects.filter(planned_start=None).exists()


def test_targets_stand_on_the_scales_division_and_keep_the_ratio(take, planned):
    planned(take())
    batch = Batch.objects.get()
    division = batch.scale.readability_g / 1000
    totals = {"resin": Decimal(0), "hardener": Decimal(0)}
    for line in BatchLine.objects.all():
        assert line.target_kg % division == 0
        assert line.low_kg <= line.target_kg <= line.high_kg
        totals[line.role] += line.target_kg
    wanted = totals["resin"] * 15 / 100
    assert abs(totals["hardener"] - wanted) <= wanted * Decimal("0.025")
    assert totals["resin"] + totals["hardener"] >= batch.mixed_kg


def test_confirming_again_replaces_what_has_not_begun(take, planned, shop_site, now):
    planned(take("T-1"))
    take("T-2")
    second = planned(None)
    numbers = set(Batch.objects.values_list("number", flat=True))
    assert "B26-00001" not in numbers
    assert WeekPlan.objects.get(state=PlanState.CONFIRMED) == second
    assert WeekPlan.objects.get(revision=1).state == PlanState.REPLACED
    reserved = sum(Container.objects.values_list("reserved", flat=True))
    assert reserved == sum(BatchLine.objects.values_list("target_kg", flat=True))


def test_a_plan_is_confirmed_once(planned, now):
    plan = planned()
    with pytest.raises(ShopError, match="only one that is ready"):
        actions.confirm(plan=plan, now=now)


def test_withdrawing_a_pour_frees_its_stock(take, planned, now):
    pour = take()
    planned(pour)
    withdraw_pours(pours=[pour], now=now)
    pour.refresh_from_db()
    assert pour.status == "asked"
    assert not Batch.objects.exists()
    assert not Reservation.objects.exists()


@pytest.mark.parametrize("week", ["2027-W53", "2026-W00", "49", "2026-12-01", ""])
def test_a_week_that_does_not_exist_is_refused(shop_site, now, week):
    with pytest.raises(Invalid, match="ISO week that exists"):
        actions.request_plan(site=shop_site, week=week, now=now)


def test_a_solved_plan_is_not_solved_twice(planned, now):
    plan = planned()
    again = actions.solve(plan_id=plan.pk, now=now)
    assert again.state == PlanState.CONFIRMED


def shares(target, planned, room, division="5"):
    uses = [LotUse("1", str(n), "resin", kg) for n, kg in enumerate(planned)]
    rooms = {str(n): Decimal(grams) for n, grams in enumerate(room)}
    found = _shared_out(Decimal(target), uses, rooms, Decimal(division))
    return [share for _, share in found]


def test_a_target_is_shared_as_planned_and_the_rest_goes_where_room_is():
    assert shares(1000, [0.4023, 0.5977], [400, 800]) == [400, 600]
    assert shares(1000, [0.4023, 0.5977], [500, 595]) == [405, 595]
    assert shares(1000, [0.9, 0.1], [900, 50]) == [900, 100], "refused when it is reserved"


def test_a_can_short_by_rounding_makes_the_whole_batch_a_little_smaller(take, planned):
    planned(take())
    batch = Batch.objects.get()
    info = stores.system(batch.system_id)
    uses = [
        LotUse(str(line.container.lot_id), str(line.container_id), line.role, float(line.exact_kg))
        for line in batch.lines.all()
    ]
    scale = ScaleInfo(1, "S", "S", Decimal(6), Decimal("0.5"))
    resin = 1000 * sum(use.kg for use in uses if use.role == "resin")
    plenty = batch_lines(batch, info, scale, uses, lambda _: Decimal(100_000))
    tight = batch_lines(batch, info, scale, uses, lambda _: Decimal(int(resin * 0.995)))
    kg = {role: [x.target_kg for x in tight if x.role == role] for role in ("resin", "hardener")}
    assert sum(kg["resin"]) * 1000 <= int(resin * 0.995)
    assert sum(kg["resin"]) < sum(x.target_kg for x in plenty if x.role == "resin")
    assert abs(sum(kg["hardener"]) / sum(kg["resin"]) - Decimal("0.15")) < Decimal("0.003")


def test_the_wish_to_stop_is_looked_up_now_and_then_and_not_forgotten(monkeypatch):
    clock, answers = [0.0], [False, True]
    monkeypatch.setattr(actions, "monotonic", lambda: clock[0])
    stopped = actions._now_and_then(lambda: answers.pop(0), 0.3)
    assert [stopped(), stopped()] == [False, False]
    clock[0] = 0.3
    assert stopped()
    clock[0] = 9.9
    assert stopped(), "asked no more once it was said"
