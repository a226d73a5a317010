from datetime import timedelta
from decimal import Decimal

import pytest

from planning.batches.models import Batch, Lift
from planning.clocks import actions as clocks
from planning.clocks.models import Cure
from planning.clocks.standing import asked_now, running
from planning.cures import actions
from planning.cures.models import Demould
from planning.pours.models import Pour
from planning.pours.steps import sign_step
from planning.reminders.wanted import cures_complete
from planning.today.queries import curing
from shared.errors import Invalid, ShopError
from shared.events.models import Event
from shop.models import Movement, Tool, ToolEvent
from tests.factories.clocks import ready


@pytest.fixture
def cure(planned):
    planned()
    lift = Lift.objects.get()
    return clocks.start_clock(lift=lift, poured_at=Batch.objects.get().planned_pour_end)


def reading(cure, hours, celsius, **more):
    at = cure.poured_at + timedelta(hours=hours)
    row = {"key": f"r{hours}", "at": at, "celsius": Decimal(celsius), **more}
    return clocks.log_temperatures(
        site_id=cure.lift.pour.order.site_id, rows=[row], now=at + timedelta(minutes=1)
    )


def test_a_cold_night_moves_demoulding_and_the_version(cure):
    before = cure.cured_due_at
    reading(cure, 1, "15")
    cure.refresh_from_db()
    assert cure.cured_due_at > before
    assert cure.version == 2
    assert "1 temperature seen" in cure.basis


def test_a_warm_core_never_counts_as_lasting(cure):
    reading(cure, 1, "60", where="core", pour=cure.lift.pour)
    hot = Cure.objects.get(pk=cure.pk)
    assert hot.peak_c == Decimal(60)
    assert hot.demould_due_at is None
    assert (hot.cured_due_at - cure.poured_at).total_seconds() / 60 > 480


def test_a_reading_from_the_future_is_refused(cure):
    at = cure.poured_at + timedelta(hours=2)
    with pytest.raises(Invalid, match="must not be in the future"):
        clocks.log_temperatures(
            site_id=cure.lift.pour.order.site_id,
            rows=[{"key": "x", "at": at, "celsius": Decimal(20)}],
            now=at - timedelta(hours=1),
        )


@pytest.fixture
def due(cure):
    """When the casting is cured and was measured cool."""
    return ready(cure.lift.pour)


def take_off(cure, at, **more):
    values = {"verdict": "accept", "key": "one", **more}
    return actions.demould(pour=cure.lift.pour, at=at, now=at, **values)


def test_too_early_is_refused_with_what_it_waits_for(cure):
    at = cure.poured_at + timedelta(hours=3)
    with pytest.raises(ShopError, match="Measure its face: at most 43 °C"):
        take_off(cure, at)
    assert take_off(cure, at, early_reason="test piece is hard").early_reason


@pytest.mark.parametrize("reason", [".", " ok ", "   "])
def test_a_reason_of_no_words_takes_nothing_off_early(cure, reason):
    at = cure.poured_at + timedelta(hours=3)
    with pytest.raises(Invalid, match="write at least 3 letters"):
        take_off(cure, at, early_reason=reason)
    assert not Demould.objects.exists()


def test_too_early_is_refused_with_the_minutes_left_where_the_time_is_known(take, planned):
    planned(take(system="T", depth_mm="55"))
    lift = Lift.objects.get()
    cure = clocks.start_clock(lift=lift, poured_at=Batch.objects.get().planned_pour_end)
    with pytest.raises(ShopError, match=r"may be demoulded from .* in \d+ min"):
        take_off(cure, cure.poured_at + timedelta(hours=2))


def test_demoulding_opens_the_tool_record_once(cure, due):
    take_off(cure, due)
    take_off(cure, due)
    assert Demould.objects.count() == 1
    assert Pour.objects.get().status == "demoulded"
    event = ToolEvent.objects.get(kind="cast")
    assert event.facts["batches"] == Batch.objects.get().number
    tool = Tool.objects.get(pk=event.tool_id)
    assert tool.status == "in_service"
    assert cure.lift.pour.order.__class__.objects.get().status == "done"
    assert Cure.objects.get().done_at is not None
    told = Event.objects.filter(object_kind="order").order_by("-pk")[:2]
    assert [event.kind for event in told] == ["tool.ready", "casting.cured"]
    assert told[0].payload["tool"] == tool.code


def test_the_tool_record_tells_what_was_cast_not_what_was_asked_for(cure, due):
    Lift.objects.update(mass_kg=Decimal("0.75"))  # as after a leak whose rest was left open
    take_off(cure, due)
    assert ToolEvent.objects.get(kind="cast").facts["mass_kg"] == "0.7500"


def test_a_rejected_casting_leaves_its_order_open(cure, due):
    take_off(cure, due, verdict="reject", defects="soft at the edge")
    assert Pour.objects.get().status == "failed"
    assert cure.lift.pour.order.__class__.objects.get().status == "open"


def test_signing_a_coat_issues_the_release_agent_once(planned):
    planned()
    step = Pour.objects.get().steps.filter(coat_number=1).get()
    for _ in range(2):
        sign_step(step=step, at=step.planned_end, now=step.planned_end)
    (row,) = step.materials.all()
    movement = Movement.objects.get(counterpart=f"pour:{step.pour_id}")
    assert movement.quantity == -row.quantity


@pytest.mark.parametrize("minutes", [-5, 0, 3])
def test_demoulding_early_is_judged_by_the_clock_now_whatever_time_is_given(cure, minutes):
    now = cure.cured_due_at - timedelta(minutes=2)
    with pytest.raises(ShopError, match="may not be demoulded yet"):
        actions.demould(
            pour=cure.lift.pour,
            at=now + timedelta(minutes=minutes),
            now=now,
            verdict="accept",
            key="k",
        )
    assert not Demould.objects.exists()


def test_a_demoulding_ahead_of_now_is_refused(cure):
    now = cure.poured_at + timedelta(minutes=10)
    with pytest.raises(Invalid, match="must not be in the future"):
        actions.demould(
            pour=cure.lift.pour,
            at=cure.cured_due_at + timedelta(hours=1),
            now=now,
            verdict="accept",
            key="k",
        )


def test_nothing_is_demoulded_before_its_last_lift_was_poured(cure):
    with pytest.raises(Invalid, match="before lift 1 was poured"):
        actions.demould(
            pour=cure.lift.pour,
            at=cure.poured_at - timedelta(hours=1),
            now=cure.cured_due_at,
            verdict="accept",
            key="k",
        )


def test_a_casting_has_no_temperature_of_its_own_before_it_is_mixed(cure):
    Batch.objects.update(contact_at=cure.poured_at - timedelta(minutes=10))
    with pytest.raises(Invalid, match="was mixed"):
        reading(cure, -2, "22", where="core", pour=cure.lift.pour)
    assert reading(cure, -2, "22"), "the air has"


@pytest.mark.parametrize("where", ["surface", "core"])
def test_nobody_is_told_to_take_off_what_was_last_seen_hot(take, planned, where):
    """Its computed clock has run, and by its model it is cool."""
    planned(take(system="T", depth_mm="55"))
    found = clocks.start_clock(
        lift=Lift.objects.get(), poured_at=Batch.objects.get().planned_pour_end
    )
    pour, due = found.lift.pour, ready(found.lift.pour)
    hours = (due - found.poured_at).total_seconds() / 3600
    assert Cure.objects.get().waits_for == ""
    reading(found, hours + 0.1, "56", where=where, pour=pour, confirmed=True)
    now = due + timedelta(hours=1)
    stands = asked_now(pour, now)
    assert not stands.may_demould(now)
    assert stands.ready_at is None
    assert Cure.objects.get().asks[0] == "surface"
    (row,) = curing(running(), now)
    assert row["words"] != "May be demoulded"
    assert [one.title for one in cures_complete(now)] == [f"{pour}: measure its face"]
    with pytest.raises(ShopError, match=r"had 56.0 °C.*at most 43 °C") as refused:
        actions.demould(pour=pour, at=now, now=now, verdict="accept", key="hot")
    assert refused.value.code == "too_hot"
    reading(found, hours + 0.9, "41", where=where, pour=pour, confirmed=True)
    assert [one.title for one in cures_complete(now)] == [f"{pour} may be demoulded"]
    assert actions.demould(pour=pour, at=now, now=now, verdict="accept", key="cool")


@pytest.mark.parametrize("where", ["surface", "core"])
def test_a_casting_last_seen_hot_is_not_taken_off_by_the_clock_alone(cure, due, where):
    pour = cure.lift.pour
    hours = (due - cure.poured_at).total_seconds() / 3600
    reading(cure, hours + 0.1, "56", where=where, pour=pour)
    now = due + timedelta(hours=1)
    with pytest.raises(ShopError, match="at most 43 °C"):
        actions.demould(pour=pour, at=now, now=now, verdict="accept", key="hot")
    reading(cure, hours + 0.9, "41", where=where, pour=pour)
    assert actions.demould(pour=pour, at=now, now=now, verdict="accept", key="cool")
