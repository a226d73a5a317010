"""What is reported of people and things is set against the confirmed plan at once."""

from dataclasses import replace
from datetime import date, time, timedelta
from decimal import Decimal

import pytest

from planning.batches.models import Batch
from planning.pours.actions import take_order
from planning.pours.models import PourStep
from planning.routes.models import Route
from planning.schedule import actions as plans
from planning.schedule.broken import plan_now
from planning.schedule.models import PlanState
from planning.shop_changes import actions
from shared.errors import Invalid
from shop import stores
from shop.errors import NotFound
from shop.models import Container, DayChange, Mixer, Outage, Person, Place, Reservation
from shop.stores import ShopChange, coming_changes

pytestmark = pytest.mark.django_db
MONDAY, SUNDAY = date(2026, 11, 30), date(2026, 12, 13)


@pytest.fixture
def report(shop_site, now):
    def tell(kind, **fields):
        return actions.report(site=shop_site, what=ShopChange(kind, **fields), now=now)

    return tell


def named(breaks, kind):
    return {key for one in breaks.broken for key, _ in getattr(one, kind)}


@pytest.fixture
def mended(shop_site, now):
    """Ask for a mended plan, work it out and confirm it."""

    def mend():
        plan = actions.ask_mended(site=shop_site, reason="it broke", now=now)
        plan.seconds = Decimal("0.5")
        plan.save()
        solved = plans.solve(plan_id=plan.pk, now=now)
        assert solved.state == PlanState.READY, solved.error
        return plans.confirm(plan=solved, now=now)

    return mend


def test_a_plan_just_confirmed_holds(take, planned, shop_site, now):
    take("T-1", depth_mm="60")
    take("T-2", system="Q", length_mm="400", width_mm="300", depth_mm="40", due_in_days=8)
    planned(take("T-3"))
    found = plan_now(shop_site, now)
    assert found.plan.state == PlanState.CONFIRMED
    assert found.broken == ()


def test_a_half_that_stays_where_the_other_was_cast_holds_its_place(planned, shop_site, now):
    system, sizes = stores.system_by_code("Q").id, {"length_mm": "200", "width_mm": "100"}
    half = {"system_id": system, "depth_mm": "30", "tool_side": "board", **sizes}
    order = take_order(
        site_id=shop_site.pk, number="M-1", tool_code="TOOL-M", tool_name="Matched", now=now,
        route=Route.objects.get(code="matched"), due_on=date(2026, 12, 12),
        pours=[{**half, "half": "A"}, {**half, "half": "B", "same_place": True}],
    )  # fmt: skip
    planned(order)
    lower, upper = order.pours.order_by("half")
    assert upper.same_place
    assert lower.lifts.first().place == upper.lifts.first().place
    assert plan_now(shop_site, now).broken == ()


def test_a_can_a_few_grams_short_is_not_short_of_a_row_that_accepts_them(take, planned, now):
    pour = take()
    planned(pour)
    line = Batch.objects.get().lines.first()

    def left(kg):
        Reservation.objects.filter(container=line.container_id).update(quantity=kg)
        Container.objects.filter(pk=line.container_id).update(balance=kg, reserved=kg)
        return [one.rule for one in plan_now(pour.order.site, now).broken]

    assert left(line.low_kg) == []
    assert left(line.low_kg - Decimal("0.01")) == ["lot_mass"]


def test_without_a_confirmed_plan_nothing_is_broken(take, shop_site, now, report):
    take()
    person = Person.objects.filter(site=shop_site).first()
    told = report("absence", person=person.pk, day=MONDAY)
    assert told.breaks.plan is None
    assert told.breaks.broken == ()


@pytest.mark.parametrize("printed", [False, True])
def test_an_absence_names_person_pour_batch_and_steps(take, planned, now, report, mended, printed):
    pour = take()
    planned(pour)
    batch = Batch.objects.get()
    if printed:
        Batch.objects.update(printed_at=now)
        PourStep.objects.filter(planned_start__isnull=False).update(printed_at=now)
    person = batch.people.get()
    told = report("absence", person=person.pk, day=MONDAY, until_day=SUNDAY, reason="flu")
    assert "is away from Mon 30 Nov to Sun 13 Dec (flu)." in told.reported.words
    assert person.pk in named(told.breaks, "people")
    assert named(told.breaks, "batches") == {batch.pk}
    assert named(told.breaks, "pours") == {pour.pk}
    steps = PourStep.objects.filter(pour=pour, planned_people=person, planned_start__isnull=False)
    assert named(told.breaks, "steps") == set(steps.values_list("pk", flat=True))
    words = " ".join(one.words for one in told.breaks.broken)
    assert person.name in words
    assert "day 1" not in words
    plan = mended()
    assert plan.based_on.state == PlanState.REPLACED
    assert person not in Batch.objects.get().people.all()
    assert plan_now(pour.order.site, now).broken == ()


def test_a_late_arrival_breaks_only_what_begins_before(take, planned, shop_site, now, report):
    planned(take())
    step = PourStep.objects.filter(planned_start__isnull=False).order_by("planned_start").first()
    person = step.planned_people.get()
    before = report(
        "late_arrival", person=person.pk, day=step.planned_start.date(), starts=time(4)
    )
    assert before.breaks.broken == ()
    told = report("late_arrival", person=person.pk, day=step.planned_start.date(), starts=time(22))
    assert step.pk in named(told.breaks, "steps")
    assert "comes at 22:00 on Mon 30 Nov." in told.reported.words


def span(row, before=timedelta(minutes=5), after=timedelta(minutes=5)):
    return {"starts_at": row.planned_start - before, "ends_at": row.planned_end + after}


@pytest.mark.parametrize("printed", [False, True])
def test_a_mixer_out_of_use_names_its_batches_and_is_not_planned_on(
    take, planned, shop_site, now, report, mended, printed
):
    planned(take())
    batch = Batch.objects.get()
    if printed:
        Batch.objects.update(printed_at=now)
    spare = Mixer.objects.filter(site=shop_site).exclude(pk=batch.mixer_id).exists()
    told = report("out_of_use", mixer=batch.mixer_id, **span(batch), reason="belt")
    assert named(told.breaks, "batches") == {batch.pk}
    assert batch.mixer.name in " ".join(one.words for one in told.breaks.broken)
    assert "is out of use from Mon 30 Nov" in told.reported.words
    mended()
    now_is = Batch.objects.get()
    out = Outage.objects.get()
    apart = now_is.planned_end <= out.starts_at or now_is.planned_contact >= out.ends_at
    assert apart or (spare and now_is.mixer_id != out.mixer_id)
    assert plan_now(shop_site, now).broken == ()


def test_a_bench_out_of_use_names_the_pour_that_was_to_stand_there(
    take, planned, shop_site, now, report, mended
):
    pour = take()
    planned(pour)
    place = pour.lifts.get().place
    at = now + timedelta(days=30)
    told = report("out_of_use", place=place.pk, starts_at=now, ends_at=at)
    assert named(told.breaks, "pours") == {pour.pk}
    assert place.name in " ".join(one.words for one in told.breaks.broken)
    mended()
    assert pour.lifts.get().place != place
    assert plan_now(shop_site, now).broken == ()


def test_an_oven_out_of_use_names_the_pour_whose_step_needs_it(
    take, planned, shop_site, now, report
):
    pour = take(due_in_days=9)
    last = pour.steps.filter(phase="after").order_by("order").last()
    PourStep.objects.filter(pk=last.pk).update(oven_cycle="post-cure", wait_min=120)
    planned(pour)
    step = PourStep.objects.get(pk=last.pk)
    assert step.oven is not None
    told = report(
        "out_of_use",
        place=step.oven_id,
        starts_at=step.oven_start or step.planned_end,
        ends_at=(step.oven_start or step.planned_end) + timedelta(hours=1),
    )
    assert named(told.breaks, "pours") == {pour.pk}


def test_a_closed_day_and_a_hot_one_break_what_was_planned(take, planned, now, report):
    pour = take(depth_mm="40", length_mm="400", width_mm="400", due_in_days=8)
    planned(pour)
    first = pour.steps.exclude(planned_start=None).order_by("planned_start").first()
    told = report("closed_day", day=first.planned_start.date(), reason="holiday")
    assert pour.pk in named(told.breaks, "pours")
    warm = report("temperature", day=MONDAY, until_day=SUNDAY, shop_c=Decimal(38))
    assert warm.broken_before == len(told.breaks.broken)
    assert pour.pk in named(warm.breaks, "pours")
    assert "38 °C are expected" in warm.reported.words


def test_an_extra_shift_breaks_nothing_and_widens_the_day(take, planned, shop_site, now, report):
    planned(take())
    person = Person.objects.filter(site=shop_site).first()
    told = report(
        "extra_shift", person=person.pk, day=date(2026, 12, 5), starts=time(8), ends=time(12)
    )
    assert told.breaks.broken == ()
    row = DayChange.objects.get()
    assert (row.extra, row.starts, row.ends) == (True, time(8), time(12))


def test_said_twice_it_stands_once_and_taken_back_the_plan_holds_again(
    take, planned, shop_site, now, report
):
    planned(take())
    person = Batch.objects.get().people.get()
    report("absence", person=person.pk, day=MONDAY, until_day=date(2026, 12, 2))
    report("absence", person=person.pk, day=MONDAY, until_day=date(2026, 12, 2))
    assert DayChange.objects.count() == 3
    (one,) = coming_changes(shop_site, now)
    assert one.words == f"{person} is away from Mon 30 Nov to Wed 02 Dec."
    assert plan_now(shop_site, now).broken
    actions.take_back(site=shop_site, table=one.table, ids=one.ids)
    assert plan_now(shop_site, now).broken == ()
    with pytest.raises(NotFound):
        actions.take_back(site=shop_site, table=one.table, ids=one.ids)


def test_what_is_begun_or_signed_is_a_fact_and_not_a_breach(take, planned, shop_site, now, report):
    planned(take())
    batch = Batch.objects.get()
    Batch.objects.update(status="poured")
    told = report("absence", person=batch.people.get().pk, day=batch.planned_start.date())
    assert named(told.breaks, "batches") == set()


def test_a_waiting_plan_is_the_mended_one(take, planned, shop_site, now):
    planned(take())
    first = actions.ask_mended(site=shop_site, reason="a", now=now)
    assert actions.ask_mended(site=shop_site, reason="b", now=now) == first


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"kind": "absence"}, "#/person"),
        ({"kind": "absence", "day": date(2026, 11, 29)}, "#/day"),
        ({"kind": "absence", "day": MONDAY, "until_day": date(2026, 11, 29)}, "#/until_day"),
        ({"kind": "absence", "day": MONDAY, "until_day": date(2027, 6, 1)}, "#/until_day"),
        ({"kind": "absence", "day": MONDAY, "starts": time(8)}, "#/ends"),
        ({"kind": "absence", "day": date(2029, 1, 1)}, "#/day"),
        ({"kind": "extra_shift", "day": MONDAY, "starts": time(9), "ends": time(8)}, "#/ends"),
        ({"kind": "temperature", "day": MONDAY, "shop_c": Decimal(80)}, "#/shop_c"),
        ({"kind": "out_of_use"}, "#/starts_at"),
    ],
)
def test_what_makes_no_sense_is_refused_by_its_field(shop_site, now, fields, field):
    what = ShopChange(**fields)
    if field != "#/person":
        what = replace(what, person=Person.objects.filter(site=shop_site).first().pk)
    with pytest.raises(Invalid) as found:
        actions.report(site=shop_site, what=what, now=now)
    assert field in [problem.pointer for problem in found.value.problems]
    assert not DayChange.objects.exists()


def test_a_thing_is_a_mixer_or_a_place_not_both(shop_site, now):
    fields = {"starts_at": now, "ends_at": now + timedelta(hours=1)}
    mixer, place = Mixer.objects.first().pk, Place.objects.first().pk
    for both in ({}, {"mixer": mixer, "place": place}):
        with pytest.raises(Invalid, match="one of the two"):
            actions.report(
                site=shop_site, what=ShopChange("out_of_use", **both, **fields), now=now
            )


@pytest.mark.parametrize(("after", "code"), [(-1, "in_past"), (24 * 400, "too_far")])
def test_what_is_over_or_years_ahead_is_refused(shop_site, now, after, code):
    fields = {"starts_at": now - timedelta(days=1), "ends_at": now + timedelta(hours=after)}
    what = ShopChange("out_of_use", mixer=Mixer.objects.first().pk, **fields)
    with pytest.raises(Invalid) as found:
        actions.report(site=shop_site, what=what, now=now)
    assert found.value.problems[0].code == code
