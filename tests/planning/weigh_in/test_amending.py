"""A ratio found wrong after the pour: put right, told, quarantined, planned anew."""

from datetime import timedelta
from decimal import Decimal

import pytest

from planning.batches.models import Batch, EntryKind
from planning.weigh_in import actions, contents
from planning.weigh_in.amending import amend_weighing
from planning.weigh_in.models import CastingQuarantine, WeighingAmendment
from planning.weigh_in.page_mark import mark_of
from planning.weigh_in.page_state import batch_with_parts, state_of
from shared.errors import Invalid
from shop.models import Lot, Movement
from tests.callers import caller
from tests.conftest import make_user
from tests.factories.floor import sign_off

WHY = "the can stood on the scale too"


@pytest.fixture
def batch(planned):
    planned()
    found = Batch.objects.get()
    sign_off(found)
    for line in found.lines.all():
        actions.record_weighing(
            line=line,
            weighed_kg=line.target_kg,
            key=f"w-{line.role}",
            at=found.planned_start,
            now=found.planned_start,
        )
    return found


@pytest.fixture
def poured(batch):
    for kind, at in (
        ("contact", batch.planned_contact),
        ("poured", batch.planned_contact + timedelta(minutes=5)),
    ):
        actions.record_entry(batch=batch, kind=kind, key=kind, at=at, now=at)
    batch.refresh_from_db()
    return batch


def amend(batch, part, role="hardener", key="a1", reason=WHY):
    line = batch.lines.get(role=role)
    weighing = line.weighings.get()
    now = batch.planned_contact + timedelta(minutes=30)
    to_kg = (line.target_kg * Decimal(part)).quantize(Decimal("0.0001"))
    return amend_weighing(weighing=weighing, to_kg=to_kg, reason=reason, key=key, now=now)


def issued(batch):
    rows = Movement.objects.filter(counterpart=f"batch:{batch.pk}")
    return -sum(row.quantity for row in rows)


def test_a_pot_found_off_its_ratio_is_quarantined_with_what_it_means_and_a_new_plan(poured):
    row = amend(poured, "0.92")
    assert amend(poured, "0.92") == row, "a repeat changes nothing"
    held = CastingQuarantine.objects.get()
    assert held.pour == poured.portions.get().lift.pour
    weighed = contents.weighed_kg(poured)
    asked = weighed["resin"] * poured.system.hardener_per_100 / 100
    off = float(100 * (weighed["hardener"] / asked - 1))
    assert off == pytest.approx(-8, abs=0.5)
    assert f"{-off:.1f} % too little hardener" in held.words
    assert "its cure is doubtful" in held.words
    state = state_of(batch_with_parts(poured.pk, poured.site_id), poured.planned_end)
    assert WHY in state["new_plan"]["words"]
    assert poured.entries.get(kind=EntryKind.REWEIGHED).facts == {
        "off_percent": pytest.approx(off, abs=0.01),
        "off_component": "hardener",
        "tolerance_percent": float(poured.system.ratio_tolerance_percent),
    }
    first = poured.lines.get(role="hardener").weighings.get()
    assert first.weighed_kg == poured.lines.get(role="hardener").target_kg, "never edited"


def test_the_ledger_equals_what_counts_after_one_amendment_and_another(poured):
    for n, part in enumerate(("0.92", "1.01")):
        amend(poured, part, key=f"a{n}")
        assert issued(poured) == sum(contents.weighed_kg(poured).values())
    assert WeighingAmendment.objects.count() == 2


def test_never_more_is_poured_than_was_weighed_after_all(poured):
    amend(poured, "0.5", role="resin")
    assert poured.portions.get().poured_kg <= sum(contents.weighed_kg(poured).values())


def test_an_amendment_inside_the_tolerance_quarantines_nothing(poured):
    amend(poured, "1.005")
    assert not CastingQuarantine.objects.exists()
    state = state_of(batch_with_parts(poured.pk, poured.site_id), poured.planned_end)
    assert state["new_plan"] is None


def test_before_first_contact_the_pot_is_judged_anew(batch):
    amend(batch, "1.2")
    batch.refresh_from_db()
    assert batch.status == "weighing"
    assert contents.correction_of(batch).add == "resin"


@pytest.mark.parametrize(
    ("part", "reason", "words"),
    [("0.92", " ", "The reason is empty"), ("1", WHY, "not the"), ("0", WHY, "above 0 kg")],
)
def test_an_amendment_that_makes_no_sense_is_refused(poured, part, reason, words):
    before = issued(poured)
    with pytest.raises(Invalid, match=words):
        amend(poured, part, reason=reason)
    assert issued(poured) == before


def test_rest_amends_and_names_the_castings(poured, time_machine):
    time_machine.move_to(poured.planned_end, tick=False)
    client = caller(make_user("technician", poured.site), [poured.site])
    weighing = poured.lines.get(role="hardener").weighings.get()
    body = {"weighing": str(weighing.pk), "to_kg": "0.0100", "reason": WHY}
    answer = client.post(f"/api/v1/batches/{poured.pk}/amendments", body, format="json")
    assert answer.status_code == 201, answer.content
    assert answer.json()["quarantined"] == [str(poured.portions.get().lift.pour_id)]
    assert answer.json()["off_percent"] < -2


def test_the_mark_of_a_page_changes_with_a_held_lot_an_entry_and_a_new_plan(batch):
    seen = [mark_of(batch.pk, batch.site_id)]
    assert mark_of(batch.pk, batch.site_id) == seen[0]
    Lot.objects.filter(containers__in=[batch.lines.first().container_id]).update(status="held")
    seen.append(mark_of(batch.pk, batch.site_id))
    at = batch.planned_start
    actions.record_entry(batch=batch, kind="remark", key="r", at=at, now=at, words="a remark")
    seen.append(mark_of(batch.pk, batch.site_id))
    assert len(set(seen)) == 3
    assert mark_of(batch.pk, batch.site_id + 1) is None


def test_what_was_weighed_without_a_network_into_a_pot_mixed_meanwhile_is_booked_and_judged(
    poured,
):
    line, before = poured.lines.get(role="hardener"), issued(poured)
    kg = (line.target_kg / 4).quantize(Decimal("0.0001"))
    weighed_at = poured.planned_contact - timedelta(minutes=1)
    told = {
        "line": line,
        "weighed_kg": kg,
        "at": weighed_at,
        "already_kg": line.target_kg,
    }
    with pytest.raises(actions.BatchFixed, match="say that it has happened"):
        actions.record_weighing(key="now", now=weighed_at, **told)
    later = poured.planned_contact + timedelta(minutes=30)
    actions.record_weighing(key="late", now=later, **told)
    actions.record_weighing(key="late", now=later, **told)
    assert issued(poured) == before + kg
    assert contents.weighed_kg(poured)["hardener"] == line.target_kg + kg
    held = CastingQuarantine.objects.get()
    assert "too much hardener" in held.words
    poured.refresh_from_db()
    assert poured.status == "poured"
    state = state_of(batch_with_parts(poured.pk, poured.site_id), later)
    assert "was told after the pot was mixed" in state["new_plan"]["words"]
