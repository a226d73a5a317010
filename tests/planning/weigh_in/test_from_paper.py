"""What was written on paper is entered afterwards in one form: all of it, once, or nothing."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client

from planning.batches.models import Batch, BatchEntry, Weighing
from planning.clocks.models import Cure
from planning.weigh_in.models import CastingQuarantine
from shared import clock
from shared.access.models import User
from shared.codes.finding import path_to
from shop import stores
from tests.factories.floor import sign_off


@pytest.fixture
def batch(planned, time_machine):
    planned()
    found = Batch.objects.get()
    sign_off(found)
    time_machine.move_to(found.planned_end + timedelta(hours=5), tick=False)
    return found


@pytest.fixture
def client(batch):
    page = Client()
    page.force_login(
        User.objects.get(username="tess"), backend="django.contrib.auth.backends.ModelBackend"
    )
    return page


def wall(at, batch):
    return f"{clock.local(at, batch.site):%H:%M}"


def written(batch, **more):
    """Return what the paper of a batch says when all went as planned, and a key of the form."""
    (portion,) = batch.portions.all()
    return {
        "key": "once",
        "day": f"{clock.local(batch.planned_start, batch.site):%Y-%m-%d}",
        "weighed_at": wall(batch.planned_start, batch),
        "contact_at": wall(batch.planned_contact, batch),
        "air_c": "21,5",
        **{f"kg-{line.pk}-1": f"{line.target_kg.normalize():f}" for line in batch.lines.all()},
        f"poured-{portion.pk}": f"{portion.kg.quantize(Decimal('0.001')):f}",
        f"at-{portion.pk}": wall(batch.planned_pour_start, batch),
        "remark": "written by hand, network down",
        **more,
    }


def test_the_sheet_s_code_leads_to_the_batch_and_its_form(batch, client):
    there = client.get(path_to("batch", batch.pk))["Location"]
    assert there == f"/batches/{batch.pk}/"
    assert f"/batches/{batch.pk}/from-paper/" in client.get(there).content.decode()
    page = client.get(f"/batches/{batch.pk}/from-paper/").content.decode()
    for line in batch.lines.all():
        assert f'name="kg-{line.pk}-1"' in page
        assert line.container.code in page


def test_a_whole_batch_is_entered_at_once_and_a_second_sending_changes_nothing(batch, client):
    (resin, hardener) = batch.lines.order_by("order")
    before = stores.container(resin.container_id).balance
    sent = written(batch)
    for _ in range(2):
        answer = client.post(f"/batches/{batch.pk}/from-paper/", sent)
        assert answer.status_code == 302, answer.content.decode()
        batch.refresh_from_db()
        assert batch.status == "poured"
        assert Weighing.objects.count() == 2
        assert stores.container(resin.container_id).balance == before - resin.target_kg
        kinds = sorted(BatchEntry.objects.values_list("kind", flat=True))
        assert kinds == ["conditions", "contact", "poured", "remark"]
    assert wall(batch.contact_at, batch) == sent["contact_at"]
    assert {wall(one.at, batch) for one in Weighing.objects.all()} == {sent["weighed_at"]}
    assert Cure.objects.get().poured_at == batch.planned_pour_start.replace(second=0)
    assert all(one.gate.late for one in BatchEntry.objects.filter(kind__in=["contact", "poured"]))
    assert not CastingQuarantine.objects.exists()
    assert hardener.weighings.get().kg == hardener.target_kg


def test_another_can_is_read_from_its_label_and_its_reason_says_paper(batch, client):
    (resin, _) = batch.lines.order_by("order")
    wanted = stores.container(resin.container_id)
    other = next(
        can
        for can in stores.containers(batch.site_id, [wanted.material_id])
        if can.id != wanted.id and can.free > resin.target_kg
    )
    can = f"http://10.1.1.1{path_to('can', other.id)}"
    sent = written(batch, **{f"can-{resin.pk}-1": can})
    assert client.post(f"/batches/{batch.pk}/from-paper/", sent).status_code == 302
    weighing = resin.weighings.get()
    assert weighing.container_id == other.id
    assert "paper" in weighing.reason


@pytest.mark.parametrize(
    ("name", "typed", "words"),
    [
        pytest.param("contact_at", "25:10", "First contact at is", id="no such time"),
        pytest.param("weighed_at", "", "Weighed at is empty", id="no time of weighing"),
        pytest.param("day", "30.11.2026", "Day is", id="a day in another form"),
        pytest.param("poured", "99.999", "can be poured", id="more than in the pot"),
        pytest.param("air_c", "warm", "Air in °C is", id="a word for a figure"),
    ],
)
def test_one_bad_value_records_nothing_and_keeps_what_was_typed(batch, client, name, typed, words):
    (portion,) = batch.portions.all()
    name = f"poured-{portion.pk}" if name == "poured" else name
    answer = client.post(f"/batches/{batch.pk}/from-paper/", written(batch, **{name: typed}))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert words in page
    assert "written by hand, network down" in page
    assert not Weighing.objects.exists()
    assert not BatchEntry.objects.exists()


def test_an_empty_form_is_told_so(batch, client):
    answer = client.post(f"/batches/{batch.pk}/from-paper/", {"key": "k", "day": "2026-11-30"})
    assert "Nothing is filled in" in answer.content.decode()


def test_a_pour_over_unsigned_work_is_recorded_and_its_casting_quarantined(
    planned, time_machine, client, batch
):
    from planning.pours.models import PourStep

    PourStep.objects.update(done_at=None)
    assert client.post(f"/batches/{batch.pk}/from-paper/", written(batch)).status_code == 302
    batch.refresh_from_db()
    assert batch.status == "poured"
    assert CastingQuarantine.objects.count() >= 1
