"""A can that is said to be empty holds nothing in the stock record either, and in no plan."""

from datetime import timedelta
from decimal import Decimal

import pytest

from planning.batch_sheets.queries import sheet
from planning.batches.models import Batch, BatchLine
from planning.schedule import actions as plans
from planning.weigh_in import actions
from shared.errors import Invalid
from shop.models import Movement, Reservation

LATE = timedelta(minutes=10)


@pytest.fixture
def batch(planned):
    planned()
    return Batch.objects.get()


@pytest.fixture
def line(batch):
    return batch.lines.get(role="resin")


def weigh(batch, line, kg="0.2", key="w", at=None, now=None, **more):
    at = at or batch.planned_start
    return actions.record_weighing(
        line=line, weighed_kg=Decimal(kg), key=key, at=at, now=now or at, **more
    )


def empty(batch, line, minutes=1, key="e", **more):
    at = batch.planned_start + timedelta(minutes=minutes)
    return actions.record_entry(
        batch=batch, kind="can_empty", key=key, at=at, now=at, line=line, **more
    )


def balance(line):
    line.container.refresh_from_db()
    return line.container.balance


def test_what_the_record_still_held_is_written_off_once_and_said(batch, line):
    held = balance(line)
    weigh(batch, line)
    entry = empty(batch, line)
    assert empty(batch, line) == entry, "a repeat changes nothing"
    assert balance(line) == 0
    assert entry.facts == {"can": line.container.code, "written_off_kg": "9.8"}
    count = Movement.objects.get(kind="count")
    assert (count.quantity, count.reason) == (
        Decimal("0.2") - held,
        f"found empty at batch {batch.number}",
    )
    assert not Reservation.objects.filter(container=line.container).exists()


def test_another_can_than_the_rows_is_named_by_its_code(batch, line):
    other = (
        type(line.container)
        .objects.filter(lot=line.container.lot)
        .exclude(pk=line.container_id)[0]
    )
    before = balance(line)
    empty(batch, line, container_code=other.code)
    other.refresh_from_db()
    assert (other.balance, balance(line)) == (0, before)
    with pytest.raises(Invalid, match="name the row, or the can by its code"):
        empty(batch, None, key="none")


def test_the_next_plan_does_not_count_on_an_empty_can(batch, line, take, shop_site):
    empty(batch, line)
    take("T-2")
    now = batch.planned_start + timedelta(hours=1)
    wish = plans.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    plan = plans.solve(plan_id=wish.pk, now=now)
    plans.confirm(plan=plan, now=now)
    cans = BatchLine.objects.filter(batch__status="planned", role="resin")
    fresh = cans.values_list("container", flat=True)
    assert fresh
    assert line.container_id not in fresh


def test_what_stands_on_a_sheet_already_is_not_fetched_from_it(batch, line):
    empty(batch, line)
    day = batch.planned_start.date()
    rows = sheet(site=batch.site, day=day)["do_not_fetch"]
    assert [(row["container"], row["barred"]) for row in rows] == [
        (line.container.code, "It is empty.")
    ]


def test_a_can_that_still_gives_something_was_not_empty(batch, line):
    held = balance(line)
    empty(batch, line)
    at = batch.planned_start + timedelta(minutes=2)
    weigh(batch, line, at=at)
    assert balance(line) == held - Decimal("0.2")


def test_what_came_out_before_and_is_told_after_leaves_it_empty(batch, line):
    held = balance(line)
    empty(batch, line)
    weigh(batch, line, now=batch.planned_start + LATE)
    assert balance(line) == 0
    issued = Movement.objects.filter(kind="issue", container=line.container)
    assert [row.quantity for row in issued] == [Decimal("-0.2")]
    total = sum(row.quantity for row in Movement.objects.filter(container=line.container))
    assert total == 0
    assert held > 1


@pytest.mark.parametrize("kind", ["can_empty", "conditions", "spill", "remark"])
def test_a_batch_with_something_in_its_log_stays_in_a_new_plan(batch, line, take, shop_site, kind):
    at = batch.planned_start
    more = {"line": line} if kind == "can_empty" else {}
    actions.record_entry(batch=batch, kind=kind, key="e", at=at, now=at, **more)
    take("T-2")
    now = at + timedelta(minutes=5)
    wish = plans.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    plans.confirm(plan=plans.solve(plan_id=wish.pk, now=now), now=now)
    batch.refresh_from_db()
    assert (batch.status, batch.entries.count()) == ("weighing", 1)
