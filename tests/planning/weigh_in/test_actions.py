from datetime import timedelta
from decimal import Decimal

import pytest

from planning.batches.models import Batch
from planning.clocks.models import Cure
from planning.weigh_in import actions, contents
from planning.weigh_in.gate import Passing
from planning.weigh_in.weighing_checks import WeighedMeanwhile
from shared.errors import Invalid, ShopError
from shared.events.models import Event
from shop import stores
from shop.models import Container, Movement, Reservation
from tests.factories.floor import sign_off

TOLD = Passing(already=True)
"""It has happened, whatever the gate would have said."""


@pytest.fixture
def batch(planned):
    planned()
    return Batch.objects.get()


def weigh(batch, role, kg=None, key=None, **more):
    line = batch.lines.get(role=role)
    at = batch.planned_start
    return actions.record_weighing(
        line=line,
        weighed_kg=line.target_kg if kg is None else Decimal(kg),
        key=key or f"key-of-{role}",
        at=at,
        now=at,
        **more,
    )


def enter(batch, kind, minutes=0, **more):
    at = batch.planned_contact + timedelta(minutes=minutes)
    return actions.record_entry(
        batch=batch, kind=kind, key=f"{kind}-{minutes}", at=at, now=at, **more
    )


def test_weighing_issues_stock_and_uses_up_the_reservation(batch):
    line = batch.lines.get(role="resin")
    before = line.container.balance
    first = weigh(batch, "resin")
    assert not first.ready
    line.container.refresh_from_db()
    assert before - line.container.balance == line.target_kg
    assert not Reservation.objects.filter(container=line.container).exists()
    second = weigh(batch, "hardener")
    assert second.ready
    batch.refresh_from_db()
    assert batch.status == "weighed"
    assert not Reservation.objects.exists()


def test_a_row_weighed_by_somebody_else_meanwhile_is_refused_unless_both_are_said_to_be_in(batch):
    line = batch.lines.get(role="resin")
    weigh(batch, "resin", already_kg=Decimal(0))
    with pytest.raises(ShopError, match="Somebody has recorded") as refusal:
        weigh(batch, "resin", "0.01", key="second", already_kg=Decimal("0.0000"))
    assert refusal.value.code == "weighed_meanwhile"
    assert refusal.value.facts["limit"] == str(line.target_kg)
    assert weigh(batch, "resin", already_kg=Decimal(0)).weighing.weighed_kg == line.target_kg
    weigh(batch, "resin", "0.01", key="third", already_kg=line.target_kg)
    with pytest.raises(WeighedMeanwhile):  # who says nothing knows of nothing
        weigh(batch, "resin", "0.01", key="fourth")
    assert line.weighings.count() == 2


def test_more_than_a_can_holds_is_refused_with_what_to_do(batch):
    with pytest.raises(ShopError, match=r"At most .* can be taken\. Read the scale again"):
        weigh(batch, "resin", "400")
    assert not batch.lines.get(role="resin").weighings.exists()


def test_a_pot_half_weighed_stays_where_it_is_in_a_new_plan(batch, planned):
    weigh(batch, "resin")
    planned("the same pours again")
    batch.refresh_from_db()
    assert batch.status == "weighing"
    hardener = batch.lines.get(role="hardener")
    assert Reservation.objects.get().container == hardener.container


def test_the_same_weighing_twice_issues_once(batch):
    weigh(batch, "resin")
    count = Movement.objects.count()
    weigh(batch, "resin")
    assert Movement.objects.count() == count


def test_one_key_for_another_weight_is_refused(batch):
    weigh(batch, "resin")
    with pytest.raises(ShopError, match="a new weighing needs a new key"):
        weigh(batch, "resin", kg="0.5")


@pytest.mark.parametrize("kg", ["0", "-1"])
def test_nothing_or_less_cannot_be_weighed(batch, kg):
    with pytest.raises(Invalid, match="must be above 0 kg"):
        weigh(batch, "resin", kg=kg)


def test_a_mass_above_stock_is_refused_with_figures_and_changes_nothing(batch):
    line = batch.lines.get(role="hardener")
    with pytest.raises(ShopError) as refused:
        weigh(batch, "hardener", kg="400")
    assert "400" in str(refused.value)
    assert line.container.code in str(refused.value)
    assert not line.weighings.exists()


def test_too_much_hardener_is_answered_with_the_resin_to_add(batch):
    weigh(batch, "resin")
    target = batch.lines.get(role="hardener").target_kg
    over = weigh(batch, "hardener", kg=round(target * Decimal("1.10"), 4))
    assert not over.ready
    assert over.correction.add == "resin"
    totals = contents.weighed_kg(batch)
    add = Decimal(str(over.correction.add_g)) / 1000
    ratio = totals["hardener"] / (totals["resin"] + add) * 100
    assert ratio == pytest.approx(Decimal(15), rel=Decimal("0.025"))
    batch.refresh_from_db()
    assert batch.status == "weighing"
    fixed = weigh(
        batch, "resin", kg=add, key="the-rest", already_kg=totals["resin"], reason="too much"
    )
    assert fixed.ready


def test_another_material_than_the_sheets_is_stopped(batch):
    wax = Container.objects.filter(lot__material__code="WAX").first()
    with pytest.raises(ShopError, match="the sheet asks for"):
        weigh(batch, "resin", container_code=wax.code)


def test_another_lot_needs_a_reason(batch):
    line = batch.lines.get(role="resin")
    other = (
        Container.objects.filter(lot__material=line.container.lot.material)
        .exclude(pk=line.container_id)
        .first()
    )
    with pytest.raises(ShopError, match="give a reason"):
        weigh(batch, "resin", container_code=other.code)
    weigh(batch, "resin", container_code=other.code, reason="first can was crystallised")
    assert Movement.objects.filter(container=other, kind="issue").count() == 1


def test_what_came_out_of_a_can_set_aside_for_another_batch_is_booked_when_told_late(batch):
    line = batch.lines.get(role="resin")
    other = Container.objects.filter(lot=line.container.lot).exclude(pk=line.container_id)[0]
    at, purpose = batch.planned_start, "batch:999:1"
    stores.reserve(container_id=other.pk, quantity=other.balance, purpose=purpose, needed_at=at)
    told = {"container_code": other.code, "reason": "stands nearer"}
    with pytest.raises(ShopError, match="is reserved"):
        weigh(batch, "resin", key="now", **told)
    weigh(batch, "resin", key="late", already=True, **told)
    other.refresh_from_db()
    assert Reservation.objects.get(purpose=purpose).quantity == other.balance == other.reserved


def test_an_expired_lot_cannot_be_weighed(batch):
    expired = Container.objects.get(lot__code="HQ-018")
    with pytest.raises(ShopError, match="expired on"):
        weigh(batch, "hardener", container_code=expired.code, reason="the other is empty")


def test_mixing_comes_after_weighing(batch):
    with pytest.raises(ShopError, match="weigh resin and hardener first"):
        enter(batch, "contact")


def test_pouring_starts_the_cure_clock_once(batch):
    weigh(batch, "resin")
    weigh(batch, "hardener")
    sign_off(batch)
    enter(batch, "contact")
    enter(batch, "poured", 20)
    enter(batch, "poured", 20)
    batch.refresh_from_db()
    assert batch.status == "poured"
    cure = Cure.objects.get()
    assert cure.poured_at == batch.planned_contact + timedelta(minutes=20)
    assert cure.cured_due_at > cure.poured_at
    assert cure.lift.pour.status == "curing"
    told = Event.objects.get(kind="batch.poured").payload
    assert (told["batch"], told["pour"], told["lifts"]) == (
        batch.number,
        str(cure.lift.pour_id),
        [1],
    )


def test_a_scrapped_pot_keeps_its_issue_and_frees_the_rest(batch):
    weigh(batch, "resin")
    enter(batch, "scrapped", words="gelled in the pot")
    batch.refresh_from_db()
    assert batch.status == "scrapped"
    assert Movement.objects.filter(kind="issue").count() == 1
    assert not Reservation.objects.exists()


def test_conditions_carry_the_dew_point(batch):
    """20 C at 50 % gives 9.26 C: row P111 of the physics cases (WMO Magnus constants)."""
    facts = {"air_c": 20, "humidity_percent": 50, "surface_c": 12}
    entry = enter(batch, "conditions", facts=facts)
    assert entry.facts["dew_point_c"] == pytest.approx(9.2551746, abs=0.02)
    assert entry.facts["margin_k"] == pytest.approx(2.74, abs=0.02)


def test_nothing_is_weighed_from_a_container_before_it_came_in(batch):
    came = Movement.objects.filter(kind="receipt").latest("happened_at").happened_at
    line = batch.lines.get(role="resin")
    with pytest.raises(Invalid, match="before the container came in"):
        actions.record_weighing(
            line=line,
            weighed_kg=line.target_kg,
            key="early",
            at=came - timedelta(days=400),
            now=batch.planned_start,
        )
    assert not Movement.objects.filter(kind="issue").exists()


def test_nothing_is_poured_before_its_first_contact(batch):
    """A time nine days back would start the lift's clock nine days back."""
    weigh(batch, "resin")
    weigh(batch, "hardener")
    at = batch.planned_contact
    with pytest.raises(Invalid, match="was weighed"):
        actions.record_entry(
            batch=batch, kind="contact", key="c", at=at - timedelta(days=1), now=at
        )
    with pytest.raises(Invalid, match="must not be in the future"):
        actions.record_entry(
            batch=batch, kind="contact", key="c", at=at + timedelta(days=3), now=at
        )
    sign_off(batch)
    with pytest.raises(actions.BatchFixed, match="record first contact before pouring"):
        enter(batch, "poured")
    enter(batch, "contact")
    for days in (0.1, 9):
        with pytest.raises(Invalid, match="before first contact"):
            actions.record_entry(
                batch=batch, kind="poured", key="p", at=at - timedelta(days=days), now=at
            )
    assert not Cure.objects.exists()
    batch.refresh_from_db()
    assert batch.status == "mixing"


def test_a_pot_poured_by_a_slow_clock_counts_from_first_contact(batch):
    weigh(batch, "resin")
    weigh(batch, "hardener")
    sign_off(batch)
    enter(batch, "contact")
    batch.refresh_from_db()
    now = batch.contact_at + timedelta(minutes=1)
    entry = actions.record_entry(
        batch=batch,
        kind="poured",
        key="p",
        at=batch.contact_at - timedelta(minutes=2),
        now=now,
        passing=Passing("the phone's clock is slow", "Petra Planner"),
    )
    assert entry.at == batch.contact_at
    assert Cure.objects.get().poured_at == batch.contact_at


def test_a_lift_is_not_poured_before_the_one_below_it(take, planned):
    planned(take(depth_mm="60"))
    lower, upper = Batch.objects.order_by("planned_start")
    for batch in (lower, upper):
        weigh(batch, "resin", key=f"r{batch.pk}")
        weigh(batch, "hardener", key=f"h{batch.pk}")
        told = {"at": upper.planned_start, "now": upper.planned_start, "passing": TOLD}
        actions.record_entry(batch=batch, kind="contact", key=f"c{batch.pk}", **told)
    at = upper.planned_start + timedelta(hours=2)
    actions.record_entry(batch=lower, kind="poured", key="p1", at=at, now=at, passing=TOLD)
    with pytest.raises(Invalid, match="before the lift below"):
        actions.record_entry(
            batch=upper, kind="poured", key="p2", at=at - timedelta(hours=1), now=at
        )
