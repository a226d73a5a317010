"""A pot that is mixed less than asked: its first portion asks why and who decides."""

from datetime import timedelta

import pytest

from planning.batches.models import Batch
from planning.weigh_in import actions
from planning.weigh_in.gate import NotReady, Passing
from planning.weigh_in.gate_state import gate_of
from planning.weigh_in.models import CastingQuarantine
from tests.callers import caller
from tests.conftest import make_user
from tests.factories.floor import sign_off, weigh_all

LATE = timedelta(minutes=10)
BECAUSE = Passing("the mixer counts double", "Petra Planner")


@pytest.fixture
def mixing(planned):
    """A batch whose first contact was at its planned time; system Q asks for 4 min."""
    planned()
    batch = Batch.objects.get()
    assert batch.system.mix_min == 4
    sign_off(batch)
    weigh_all(batch)
    return enter(batch, "contact").batch


def enter(batch, kind, seconds=0, late=timedelta(0), **more):
    at = batch.planned_contact + timedelta(seconds=seconds)
    return actions.record_entry(
        batch=batch, kind=kind, key=f"{kind}-{seconds}", at=at, now=at + late, **more
    )


def codes_of(entry):
    return [row["code"] for row in entry.gate.hindrances]


def test_the_first_portion_waits_until_the_pot_is_mixed(mixing):
    with pytest.raises(NotReady, match="mixed 3:59 min; at least 4:00 min are wanted") as refusal:
        enter(mixing, "poured", 239)
    assert [row["code"] for row in refusal.value.facts["hindrances"]] == ["mixed_too_short"]
    assert enter(mixing, "poured", 240).batch.status == "poured"


def test_page_and_calls_tell_it_before(mixing):
    def told(seconds):
        at = mixing.contact_at + timedelta(seconds=seconds)
        return gate_of(Batch.objects.get(), at)["portions"][0]["hindrances"]

    (found,) = told(60)
    assert found["code"] == "mixed_too_short"
    assert found["reason_passes"]
    assert found["clears_at"] == (mixing.contact_at + timedelta(minutes=4)).isoformat()
    assert told(240) == []


def test_a_reason_with_a_name_passes_it_and_is_kept(mixing):
    entry = enter(mixing, "poured", 60, passing=BECAUSE)
    assert codes_of(entry) == ["mixed_too_short"]
    assert (entry.gate.reason, entry.gate.decided_by) == (BECAUSE.reason, BECAUSE.decided_by)
    assert not CastingQuarantine.objects.exists()


def test_the_end_of_mixing_may_be_told_and_then_waiting_does_not_count(mixing):
    enter(mixing, "mixed", 90)
    with pytest.raises(NotReady, match="mixed 1:30 min"):
        enter(mixing, "poured", 600)
    enter(mixing, "mixed", 610)
    enter(mixing, "poured", 620)


def test_half_of_the_time_is_for_the_second_container(mixing):
    enter(mixing, "second_container", 200)
    with pytest.raises(NotReady, match="In its second container the pot was mixed 1:40 min"):
        enter(mixing, "poured", 300)
    enter(mixing, "poured", 320)


def test_told_late_it_is_recorded_marked_and_quarantined_without_a_reason(mixing):
    entry = enter(mixing, "poured", 60, late=LATE)
    assert entry.gate.late
    assert codes_of(entry) == ["mixed_too_short"]
    assert "mixed 1:00 min" in CastingQuarantine.objects.get().words


def test_told_late_with_a_reason_it_is_recorded_and_marked(mixing):
    entry = enter(mixing, "poured", 60, late=LATE, passing=BECAUSE)
    assert entry.gate.late
    assert not CastingQuarantine.objects.exists()


@pytest.fixture
def technician(shop_site):
    return caller(make_user("technician", shop_site), [shop_site])


def test_a_call_is_refused_alike(mixing, technician, time_machine):
    time_machine.move_to(mixing.contact_at + timedelta(seconds=30), tick=False)
    path = f"/api/v1/batches/{mixing.pk}/entries"
    answer = technician.post(path, {"kind": "poured"})
    assert answer.status_code == 409
    assert "The pot was mixed 0:30 min" in answer.json()["detail"]
    assert "give a reason and the name of who decides" in answer.json()["detail"]
    more = {"gate_reason": "the mixer counts double", "decided_by": "Petra Planner"}
    answer = technician.post(path, {"kind": "poured", **more})
    assert answer.status_code == 201, answer.content
    assert answer.json()["gate"]["hindrances"][0]["code"] == "mixed_too_short"
