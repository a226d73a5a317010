"""A mix as warm as it really is: typed in °C or °F, asked about, and judged at the gate."""

from datetime import timedelta

import pytest

from planning.batch_sheets.mix_heat import mix_heat
from planning.batches.models import Batch, BatchEntry
from planning.clocks.deadline import deadline_of, life_at
from planning.weigh_in import actions
from planning.weigh_in.gate import NotReady, Passing
from shared import clock
from shop import stores
from tests.callers import caller
from tests.conftest import make_user
from tests.factories.floor import sign_off

BECAUSE = Passing("a thin sample stayed cool", "Petra Planner")


@pytest.fixture
def weighed(take, planned, time_machine):
    planned(take(system="T", depth_mm="60"))
    batch = Batch.objects.get()
    sign_off(batch)
    for line in batch.lines.all():
        at = batch.planned_contact if line.role == "hardener" else batch.planned_start
        actions.record_weighing(
            line=line, weighed_kg=line.target_kg, key=f"w{line.pk}", at=at, now=at
        )
    time_machine.move_to(batch.planned_contact, tick=False)
    return Batch.objects.get()


def tell(batch, **body):
    client = caller(make_user("technician", batch.site), [batch.site])
    body = {"kind": "conditions", **body}
    return client.post(f"/api/v1/batches/{batch.pk}/entries", body, format="json")


@pytest.mark.parametrize(("facts", "kept"), [
    ({"mix_c": "31.5"}, "31.5"), ({"mix_f": "77"}, "25.0"), ({"mix_f": "88.7"}, "31.5"),
])  # fmt: skip
def test_celsius_and_fahrenheit_are_kept_as_celsius(weighed, facts, kept):
    assert tell(weighed, facts=facts).status_code == 201
    assert BatchEntry.objects.get(kind="conditions").facts["mix_c"] == kept


def test_both_units_at_once_are_refused(weighed):
    answer = tell(weighed, facts={"mix_c": "25", "mix_f": "77"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["code"] == "one_unit"


def test_77_typed_for_77_fahrenheit_is_asked_about_and_changes_nothing(weighed):
    before = deadline_of(weighed)
    answer = tell(weighed, facts={"mix_c": "77"})
    assert answer.status_code == 422
    (problem,) = answer.json()["errors"]
    assert problem["code"] == "implausible"
    assert "77 °F would be 25.0 °C" in problem["detail"]
    assert deadline_of(Batch.objects.get()) == before


def test_a_mix_that_is_too_warm_is_held_at_the_gate_and_shortens_the_pot_life(weighed):
    info = stores.system(weighed.system_id)
    most = mix_heat(weighed, info).most_c
    warm = most + 4
    assert tell(weighed, facts={"mix_c": str(warm)}, confirmed=True).status_code == 201
    now = clock.now()
    with pytest.raises(NotReady, match=f"The mix is {warm} °C; it may be {most} °C at most"):
        actions.record_entry(batch=weighed, kind="contact", key="c", at=now, now=now)
    actions.record_entry(batch=weighed, kind="contact", key="c", at=now, now=now, passing=BECAUSE)
    batch = Batch.objects.get()
    found = deadline_of(batch)
    assert found.pot_life_min == life_at(info, batch.mixed_kg, warm)[0] < batch.pot_life_min
    assert found.pour_by == now + timedelta(minutes=found.pot_life_min)


def test_a_mix_as_warm_as_it_may_be_goes_through(weighed):
    most = mix_heat(weighed, stores.system(weighed.system_id)).most_c
    assert tell(weighed, facts={"mix_c": str(most)}, confirmed=True).status_code == 201
    now = clock.now()
    entry = actions.record_entry(batch=weighed, kind="contact", key="c", at=now, now=now)
    assert getattr(entry, "gate", None) is None


def test_the_newest_reading_counts_so_a_mix_that_has_cooled_goes_through(weighed, time_machine):
    most = mix_heat(weighed, stores.system(weighed.system_id)).most_c
    tell(weighed, facts={"mix_c": str(most + 8)}, confirmed=True)
    time_machine.shift(timedelta(minutes=3))
    tell(weighed, facts={"mix_c": str(most - 1)}, confirmed=True)
    now = clock.now()
    assert actions.record_entry(batch=weighed, kind="contact", key="c", at=now, now=now).pk


def test_a_colder_mix_than_planned_gives_no_pot_life_back(weighed):
    before = deadline_of(weighed).pot_life_min
    tell(weighed, facts={"mix_c": "14"})
    assert deadline_of(Batch.objects.get()).pot_life_min <= before
