"""Nothing is mixed or poured through a closed gate; what has happened is recorded all the same."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from planning.batches.models import Batch, BatchEntry, Lift
from planning.clocks.actions import start_clock
from planning.clocks.deadline import deadline_of
from planning.clocks.models import Cure
from planning.cures.actions import demould
from planning.pours.models import Pour, PourStep
from planning.weigh_in import actions
from planning.weigh_in.gate import NotReady, Passing, hindrances_of
from planning.weigh_in.gate_state import gate_of
from planning.weigh_in.models import CastingQuarantine, GateRecord
from planning.weigh_in.quarantine import release
from shared.errors import Invalid, ShopError
from shop.models import Lot, Movement
from tests.callers import caller
from tests.conftest import make_user
from tests.factories.clocks import open_for_next, ready
from tests.factories.floor import sign_off

LATE = timedelta(minutes=10)
BECAUSE = Passing("the coats were signed on paper", "Petra Planner")


@pytest.fixture
def batch(planned):
    planned()
    return Batch.objects.get()


@pytest.fixture
def weighed(batch):
    for line in batch.lines.all():
        weigh(batch, line.role)
    return batch


def weigh(batch, role, kg=None, **more):
    line = batch.lines.get(role=role)
    return actions.record_weighing(
        line=line,
        weighed_kg=line.target_kg if kg is None else Decimal(kg),
        key=more.pop("key", f"w-{role}"),
        **{"at": batch.planned_start, "now": batch.planned_start, **more},
    )


def enter(batch, kind, minutes=0, late=timedelta(0), **more):
    at = batch.planned_contact + timedelta(minutes=minutes)
    return actions.record_entry(
        batch=batch, kind=kind, key=f"{kind}-{minutes}", at=at, now=at + late, **more
    )


def hold(batch, role="resin"):
    Lot.objects.filter(containers__in=[batch.lines.get(role=role).container_id]).update(
        status="held", status_reason="recall"
    )


def codes(refusal):
    return [row["code"] for row in refusal.value.facts["hindrances"]]


def test_unsigned_steps_are_named_and_passed_by_a_reason_with_a_name(weighed):
    with pytest.raises(NotReady, match="not signed: ") as refusal:
        enter(weighed, "contact")
    assert codes(refusal) == ["steps_unsigned"]
    assert PourStep.objects.filter(phase="before").first().name in str(refusal.value)
    with pytest.raises(Invalid, match="decided_by is empty"):
        enter(weighed, "contact", passing=Passing(reason="the foreman said so"))
    entry = enter(weighed, "contact", passing=BECAUSE)
    assert (entry.gate.late, entry.gate.reason) == (False, BECAUSE.reason)
    assert entry.gate.decided_by == "Petra Planner"
    assert not CastingQuarantine.objects.exists()


def test_a_signed_pour_goes_through_without_a_record_of_the_gate(weighed):
    sign_off(weighed)
    enter(weighed, "contact")
    enter(weighed, "poured", 5)
    assert not GateRecord.objects.exists()


@pytest.mark.parametrize("act", ["contact", "poured"])
def test_a_lot_held_since_it_was_weighed_stops_the_pot_whatever_the_reason(weighed, act):
    sign_off(weighed)
    if act == "poured":
        enter(weighed, "contact")
    hold(weighed)
    with pytest.raises(NotReady, match="it is held") as refusal:
        enter(weighed, act, 4, passing=BECAUSE)
    assert codes(refusal) == ["lot_not_released"]
    assert not BatchEntry.objects.filter(kind=act, at__gt=weighed.planned_contact).exists()


def test_what_happened_before_it_was_told_is_recorded_and_its_casting_quarantined(weighed):
    sign_off(weighed)
    hold(weighed)
    entry = enter(weighed, "contact", late=LATE)
    assert entry.gate.late
    row = CastingQuarantine.objects.get()
    assert "Mixed although it was not ready" in row.words
    assert "it is held" in row.words
    enter(weighed, "poured", 3, late=LATE)
    assert CastingQuarantine.objects.count() == 2
    weighed.refresh_from_db()
    assert weighed.status == "poured"


def test_a_late_entry_of_a_pour_with_nothing_in_its_way_is_only_marked_late(weighed):
    sign_off(weighed)
    assert enter(weighed, "contact", late=LATE).gate.late
    assert not CastingQuarantine.objects.exists()


def test_what_is_weighed_without_a_network_from_a_held_lot_is_in_the_ledger(batch):
    hold(batch)
    with pytest.raises(ShopError, match="is held"):
        weigh(batch, "resin")
    weigh(batch, "resin", now=batch.planned_start + LATE)
    assert Movement.objects.filter(kind="issue").count() == 1


def test_a_quarantined_casting_is_not_accepted_until_it_is_released_with_a_reason(weighed):
    sign_off(weighed)
    hold(weighed)
    enter(weighed, "contact", late=LATE)
    enter(weighed, "poured", 3, late=LATE)
    pour = Pour.objects.get()
    due = ready(pour)
    values = {"pour": pour, "at": due, "now": due, "verdict": "accept"}
    with pytest.raises(ShopError, match="is in quarantine: "):
        demould(key="d1", **values)
    for row in CastingQuarantine.objects.all():
        with pytest.raises(Invalid, match="write at least 3 letters"):
            release(quarantine=row, reason=" ", now=due)
        release(quarantine=row, reason="Shore D 82, Tg by DSC as usual", now=due)
    assert demould(key="d2", **values).verdict == "accept"


def test_a_release_without_a_reason_is_refused_by_the_database_too(weighed):
    sign_off(weighed)
    hold(weighed)
    enter(weighed, "contact", late=LATE)
    with pytest.raises(IntegrityError), transaction.atomic():
        CastingQuarantine.objects.update(released_at=weighed.planned_contact)


@pytest.mark.parametrize(("minutes", "over"), [(-1, False), (0, True), (300, True)])
def test_a_pot_is_not_mixed_once_hardener_was_in_it_for_a_whole_life(weighed, minutes, over):
    """Hardener is weighed in on the resin: a forgotten tap does not make the pot fresh."""
    sign_off(weighed)
    met = weighed.planned_start
    at = met + timedelta(minutes=deadline_of(weighed).pot_life_min + minutes)
    if over:
        with pytest.raises(NotReady, match="The pot life is over") as refusal:
            actions.record_entry(batch=weighed, kind="contact", key="c", at=at, now=at)
        assert "pot_life_over" in codes(refusal)
        with pytest.raises(NotReady):
            actions.record_entry(
                batch=weighed, kind="contact", key="d", at=at, now=at, passing=BECAUSE
            )
        assert Batch.objects.get().contact_at is None
    else:
        actions.record_entry(batch=weighed, kind="contact", key="c", at=at, now=at)
        assert Batch.objects.get().contact_at == at


def test_a_dead_pot_is_not_poured(weighed):
    sign_off(weighed)
    enter(weighed, "contact")
    with pytest.raises(NotReady, match="The pot life is over"):
        enter(weighed, "poured", weighed.pot_life_min)


def test_a_lift_is_not_mixed_for_before_the_one_below_is_poured_and_open(take, planned):
    planned(take(depth_mm="90", system="T"))
    upper = Batch.objects.filter(portions__lift__number=2).first()
    assert upper is not None, "90 mm need two lifts"
    for line in upper.lines.all():
        weigh(upper, line.role, key=f"u{line.pk}")
    sign_off(upper)
    with pytest.raises(NotReady, match="which is not poured") as refusal:
        enter(upper, "contact", passing=BECAUSE)
    assert codes(refusal) == ["lower_not_poured"]
    lower = Lift.objects.get(number=1)
    cure = Cure.objects.create(
        lift=lower,
        poured_at=upper.planned_contact,
        peak_due_at=upper.planned_contact,
        next_opens_at=upper.planned_contact + timedelta(hours=1),
        looked_at=upper.planned_contact,
    )
    with pytest.raises(NotReady, match="cannot bear it yet"):
        enter(upper, "contact", passing=BECAUSE)
    Cure.objects.filter(pk=cure.pk).update(next_opens_at=None)
    with pytest.raises(NotReady, match="It is not known when it can bear the next lift"):
        enter(upper, "contact", passing=BECAUSE)
    Cure.objects.filter(pk=cure.pk).update(next_opens_at=upper.planned_contact)
    enter(upper, "contact")


def test_a_lift_whose_time_has_come_is_asked_again_before_it_is_poured_over(take, planned):
    """Its stored time says that it is open; worked out now it is not."""
    planned(take(depth_mm="60"))
    lower, upper = Lift.objects.order_by("number")
    cure = start_clock(lift=lower, poured_at=lower.planned_end)
    at = lower.planned_end + timedelta(hours=1)
    Cure.objects.filter(pk=cure.pk).update(next_opens_at=at - timedelta(minutes=5))
    batch = upper.portions.get().batch
    for line in batch.lines.all():
        weigh(batch, line.role, key=f"u{line.pk}")
    sign_off(batch)
    found = hindrances_of(batch, "contact", list(batch.portions.all()), at)
    assert "lower_not_open" in {one.code for one in found}
    opens_at = open_for_next(lower.pour)
    assert opens_at > at
    found = hindrances_of(batch, "contact", list(batch.portions.all()), opens_at)
    assert "lower_not_open" not in {one.code for one in found}


def test_a_can_that_runs_empty_leaves_its_row_open_and_the_pot_pours_what_is_in_it(batch):
    sign_off(batch)
    resin = batch.lines.get(role="resin")
    part = (resin.target_kg * Decimal("0.6")).quantize(Decimal("0.001"))
    weigh(batch, "resin", part)
    per_100 = batch.system.hardener_per_100
    hardener = (part * per_100 / 100).quantize(Decimal("0.001"))
    assert not weigh(batch, "hardener", hardener).ready
    with pytest.raises(ShopError, match="less than its least mass"):
        enter(batch, "contact")
    enter(batch, "no_more", line=resin)
    batch.refresh_from_db()
    assert batch.status == "weighed"
    enter(batch, "contact")
    planned_kg, in_pot = batch.portions.get().kg, part + hardener
    offered = gate_of(batch, batch.planned_contact)
    (portion,) = offered["portions"]
    assert portion["offered_kg"] == pytest.approx(
        in_pot - (batch.mixed_kg - planned_kg), abs=Decimal("0.0001")
    )
    with pytest.raises(Invalid, match="can be poured"):
        enter(batch, "poured", 4, portion=batch.portions.get(), facts={"kg": str(planned_kg)})
    enter(batch, "poured", 5)
    poured = batch.portions.get()
    assert poured.poured_kg == portion["offered_kg"]
    assert poured.lost_kg == pytest.approx(planned_kg - poured.poured_kg, abs=Decimal("0.0001"))
    assert batch.entries.get(kind="short").words == "the pot held less than planned"
    assert Pour.objects.get().status == "pouring", "the rest is still to be poured"


def test_what_is_said_to_be_poured_already_is_never_more_than_was_weighed(weighed):
    sign_off(weighed)
    enter(weighed, "contact")
    portion = weighed.portions.get()
    facts = {"kg": str(weighed.mixed_kg + 1)}
    for passing in (Passing(), Passing(already=True)):
        with pytest.raises(Invalid, match="at most") as refusal:
            enter(weighed, "poured", 4, portion=portion, facts=facts, passing=passing)
        assert refusal.value.problems[0].code == "more_than_in_the_pot"


def test_rest_refuses_with_everything_in_the_way_and_shows_it_beforehand(weighed, time_machine):
    time_machine.move_to(weighed.planned_contact, tick=False)
    client = caller(make_user("technician", weighed.site), [weighed.site])
    hold(weighed)
    address = f"/api/v1/batches/{weighed.pk}/"
    shown = client.get(f"{address}gate").json()
    assert [row["code"] for row in shown["contact"]] == ["lot_not_released", "steps_unsigned"]
    body = {"kind": "contact", "gate_reason": BECAUSE.reason, "decided_by": "Petra"}
    answer = client.post(f"{address}entries", body, format="json")
    assert answer.status_code == 409
    assert answer.json()["code"] == "not_ready"
    assert [row["code"] for row in answer.json()["hindrances"]] == [
        "lot_not_released",
        "steps_unsigned",
    ]
    told = client.post(f"{address}entries", {**body, "already": True}, format="json").json()
    assert told["gate"]["late"]
    rows = client.get("/api/v1/casting-quarantines").json()["items"]
    assert [row["batch"] for row in rows] == [str(weighed.pk)]


@pytest.mark.parametrize(("before_min", "quarantined"), [(30, True), (-30, False)])
def test_a_pour_told_late_is_judged_by_whether_the_half_below_was_off_then(
    take, planned, before_min, quarantined
):
    planned(take("T-1"), take("T-2"))
    below, above = Pour.objects.order_by("pk")
    Pour.objects.filter(pk=above.pk).update(stands_on=below)
    lift = Lift.objects.get(pour=below)
    Pour.objects.filter(pk=below.pk).update(status="curing")
    start_clock(lift=lift, poured_at=lift.planned_end)
    off_at = ready(below)
    demould(pour=below, key="off", at=off_at, now=off_at, verdict="accept")

    batch = Batch.objects.get(portions__lift__pour=above)
    Batch.objects.filter(portions__lift__pour=below).exclude(pk=batch.pk).delete()
    poured = off_at - timedelta(minutes=before_min)
    for line in batch.lines.all():
        weigh(batch, line.role, at=poured, now=off_at + 2 * LATE + timedelta(hours=1))
    sign_off(batch)
    actions.record_entry(
        batch=batch,
        kind="contact",
        key="c",
        at=poured,
        now=off_at + timedelta(hours=1, minutes=20),
    )
    words = [row.words for row in CastingQuarantine.objects.filter(pour=above)]
    assert any(str(below) in one for one in words) is quarantined, words
