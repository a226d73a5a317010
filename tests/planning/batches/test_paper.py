"""Whatever is printed of a batch or step is compared, and decides whether it stays frozen."""

from datetime import timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from planning.batches.changes import changes_since, planned_of
from planning.batches.models import Batch
from planning.batches.paper import batch_says, step_says
from planning.pours.models import PourStep
from shop.models import Mixer, Person, Place, Scale

pytestmark = pytest.mark.django_db
ZONE = ZoneInfo("Europe/Berlin")


@pytest.fixture
def sheet(take, planned, shop_site):
    planned(take())

    def read():
        batches = Batch.objects.all()
        return planned_of(shop_site, batches, PourStep.objects.filter(phase="before"))

    return read


def another(model, pk):
    return model.objects.exclude(pk=pk).first().pk


BATCH = {
    "mixer": lambda b: {"mixer_id": another(Mixer, b.mixer_id)},
    "scale": lambda b: {"scale_id": another(Scale, b.scale_id)},
    "pot life": lambda b: {"pot_life_min": b.pot_life_min - 5},
    "end": lambda b: {"planned_end": b.planned_end + timedelta(minutes=5)},
    "start": lambda b: {"planned_start": b.planned_start - timedelta(minutes=5)},
}


@pytest.mark.parametrize("what", BATCH)
def test_a_changed_batch_is_said_to_differ_from_its_paper(sheet, what):
    before = sheet()
    batch = Batch.objects.get()
    Batch.objects.filter(pk=batch.pk).update(**BATCH[what](batch))
    (words,) = changes_since(before, sheet())
    assert words.startswith(f"Batch {batch.number}: {what} ")


def test_another_weight_limit_or_place_is_said_too(sheet, take):
    before = sheet()
    line = Batch.objects.get().lines.first()
    line.high_kg += Decimal("0.01")
    line.save()
    lift = Batch.objects.get().portions.get().lift
    lift.place_id = another(Place, lift.place_id)
    lift.save()
    assert len(changes_since(before, sheet())) == 2


def test_a_changed_step_is_said_to_differ_from_its_paper(sheet):
    before = sheet()
    step = PourStep.objects.filter(phase="before").first()
    step.oven = Place.objects.first()
    step.oven_start = step.planned_end
    step.planned_end += timedelta(minutes=10)
    step.save()
    words = " ".join(changes_since(before, sheet()))
    for what in ("until", "oven", "oven from"):
        assert f": {what} " in words


def test_a_sheet_printed_by_an_earlier_version_is_compared_by_what_it_noted(sheet):
    noted = ("name", "first contact", "people")
    old = {key: {n: v for n, v in row.items() if n in noted} for key, row in sheet().items()}
    assert changes_since(old, sheet()) == []
    batch = Batch.objects.get()
    batch.people.set([another(Person, batch.people.first().pk)])
    (words,) = changes_since(old, sheet())
    assert words.startswith(f"Batch {batch.number}: people ")


def test_every_figure_of_a_batch_and_step_is_text(sheet):
    sheet()
    said = [batch_says(Batch.objects.get(), ZONE), step_says(PourStep.objects.first(), ZONE)]
    assert all(isinstance(value, str) and value for row in said for value in row.values())
