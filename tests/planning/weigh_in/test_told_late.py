"""What is told after somebody else has scrapped the pot: recorded, or asked about plainly."""

from datetime import timedelta

import pytest

from planning.batches.models import Batch
from planning.weigh_in import actions
from planning.weigh_in.gate import Passing
from planning.weigh_in.keeping import BatchFixed
from planning.weigh_in.models import CastingQuarantine
from tests.callers import caller
from tests.conftest import make_user
from tests.factories.floor import sign_off, weigh_all

ALREADY = Passing(already=True)


@pytest.fixture
def scrapped(planned):
    """A pot scrapped ten minutes after its planned contact, of which no contact was known."""
    planned()
    batch = Batch.objects.get()
    sign_off(batch)
    weigh_all(batch)
    enter(batch, "scrapped", 10, words="nobody came")
    return Batch.objects.get()


def enter(batch, kind, minutes=0, told=None, key="", **more):
    at = batch.planned_contact + timedelta(minutes=minutes)
    now = batch.planned_contact + timedelta(minutes=minutes if told is None else told)
    return actions.record_entry(
        batch=batch, kind=kind, key=key or f"{kind}-{minutes}", at=at, now=now, **more
    )


def test_a_contact_before_the_scrapping_is_recorded_marked_and_quarantined(scrapped):
    pour = scrapped.entries.get(kind="scrapped").facts["pours"]
    entry = enter(scrapped, "contact", 2, told=15, passing=ALREADY)
    assert entry.gate.late
    scrapped.refresh_from_db()
    assert scrapped.status == "scrapped"
    assert scrapped.contact_at == entry.at
    row = CastingQuarantine.objects.get()
    assert [row.pour_id] == pour
    assert "was mixed at" in row.words
    assert "scrapped at" in row.words
    assert "Find out whether any of it was poured." in row.words


def test_the_castings_are_those_of_the_scrapping_that_left_them_to_plan(scrapped):
    enter(scrapped, "scrapped", 5, told=12)
    enter(scrapped, "contact", 2, told=15, passing=ALREADY)
    assert CastingQuarantine.objects.exists()


def test_told_by_its_time_alone_it_is_late_as_well(scrapped):
    enter(scrapped, "contact", 2, told=15)
    assert CastingQuarantine.objects.exists()


def test_a_contact_after_the_scrapping_is_asked_about(scrapped):
    with pytest.raises(BatchFixed, match="Was it mixed before it was scrapped") as refusal:
        enter(scrapped, "contact", 12, told=15, passing=ALREADY)
    assert refusal.value.code == "scrapped_before"
    assert "was scrapped at" in refusal.value.message
    scrapped.refresh_from_db()
    assert scrapped.contact_at is None
    assert not CastingQuarantine.objects.exists()


def test_a_scrapped_pot_is_not_mixed_now(scrapped):
    with pytest.raises(BatchFixed, match="cannot be mixed: it is scrapped"):
        enter(scrapped, "contact", 12)


def test_a_second_contact_of_it_is_refused(scrapped):
    enter(scrapped, "contact", 2, told=15, passing=ALREADY)
    with pytest.raises(BatchFixed, match="cannot be mixed"):
        enter(scrapped, "contact", 3, told=16, passing=ALREADY)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("unstirred", "post the weighing"),
        ("reweighed", "post an amendment of the weighing"),
    ],
)
def test_what_follows_from_something_else_is_not_posted(shop_site, planned, kind, words):
    planned()
    batch = Batch.objects.get()
    technician = caller(make_user("technician", shop_site), [shop_site])
    answer = technician.post(f"/api/v1/batches/{batch.pk}/entries", {"kind": kind})
    assert answer.status_code == 422, answer.content
    (error,) = answer.json()["errors"]
    assert (error["pointer"], error["code"]) == ("#/kind", "written_by_the_shop")
    assert words in error["detail"]
    assert not batch.entries.exists()
