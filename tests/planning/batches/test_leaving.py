"""What hangs on somebody who leaves is named with its page."""

from planning.batches.leaving import planned_work
from planning.batches.models import Batch
from planning.pours.models import PourStep
from shared.access.models import User
from shop.sites.models import Person


def test_open_batches_and_steps_of_a_person_are_named(planned):
    planned()
    batch = Batch.objects.filter(status="planned").earliest("planned_start")
    person = batch.people.first()
    user = User.objects.create_user("who-leaves")
    Person.objects.filter(pk=person.pk).update(user=user)
    told = {tie.words: tie.path for tie in planned_work(user)}
    batches = {words: path for words, path in told.items() if batch.number in words}
    assert list(batches.values()) == [f"/batches/{batch.pk}/"]
    steps = PourStep.objects.filter(planned_people=person, done_at=None)
    assert len(told) == Batch.objects.filter(people=person).count() + steps.count()
    assert not list(planned_work(User.objects.create_user("who-stays")))


def test_work_that_is_done_hangs_on_nobody(planned):
    planned()
    batch = Batch.objects.earliest("planned_start")
    person = batch.people.first()
    user = User.objects.create_user("who-leaves")
    Person.objects.filter(pk=person.pk).update(user=user)
    Batch.objects.filter(people=person).update(status="poured")
    assert not [tie for tie in planned_work(user) if tie.path.startswith("/batches/")]
