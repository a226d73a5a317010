"""
A shop that reads no temperature is not stuck: a person who has felt the casting may go on.

Only from when it is likely ready by the best estimate, never where it was read hot, and always
with a reason and a name. A clock that nobody helps opens by itself later.
"""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client

from planning.batches.models import Batch, Lift
from planning.clocks.actions import log_temperatures, start_clock
from planning.clocks.asking import look
from planning.clocks.models import Cure
from planning.weigh_in import actions
from planning.weigh_in.gate import NotReady, Passing, hindrances_of
from planning.weigh_in.models import CastingQuarantine, GateRecord
from tests.callers import caller
from tests.conftest import make_user
from tests.factories.floor import sign_off

FELT = Passing("solid and cool at middle and edge", "Petra Planner")
UNSAID = Passing()
MINUTE = timedelta(minutes=1)


@pytest.fixture
def upper(take, planned):
    """
    A pot for the second lift, with resin in it; of the first nobody ever reads a temperature.

    Hardener goes in when it is tried to mix: it would have reacted while the first lift cured.
    """
    planned(take(depth_mm="60"))
    lower, upper = Lift.objects.order_by("number")
    start_clock(lift=lower, poured_at=lower.planned_end)
    batch = upper.portions.get().batch
    weigh(batch, "resin", lower.planned_end)
    sign_off(batch)
    return batch


def weigh(batch, role, at):
    for line in batch.lines.filter(role=role, weighings=None):
        actions.record_weighing(
            line=line, weighed_kg=line.target_kg, key=f"w{line.pk}", at=at, now=at
        )


def shut_but_likely(now):
    """
    Return a moment at which the first lift is likely to bear the next, and is not open.

    Hardener is weighed in then.
    """
    cure = Cure.objects.get()
    assert cure.opens_best_at + 2 * MINUTE < cure.next_opens_at
    at = cure.opens_best_at + now
    look(cure, at)
    weigh(Batch.objects.get(lines__weighings__isnull=False), "hardener", at)
    return at


def mix(batch, at, passing=UNSAID):
    return actions.record_entry(
        batch=batch, kind="contact", key=f"c{at}", at=at, now=at, passing=passing
    )


def test_a_person_who_felt_it_goes_on_with_a_reason_and_a_name_and_both_are_kept(upper):
    at = shut_but_likely(MINUTE)
    with pytest.raises(NotReady, match="felt at its middle and at an edge") as refusal:
        mix(upper, at)
    (told,) = refusal.value.facts["hindrances"]
    assert (told["code"], told["reason_passes"]) == ("lower_not_open", True)
    mix(upper, at, FELT)
    record = GateRecord.objects.get()
    assert (record.reason, record.decided_by) == (FELT.reason, FELT.decided_by)
    assert [row["code"] for row in record.hindrances] == ["lower_not_open"]
    assert not CastingQuarantine.objects.exists()


def test_no_reason_passes_before_it_is_likely(upper):
    with pytest.raises(NotReady, match="cannot bear it yet") as refusal:
        mix(upper, shut_but_likely(-MINUTE), FELT)
    assert "felt" not in str(refusal.value)


def test_no_reason_passes_a_casting_that_was_read_hot(upper):
    at = shut_but_likely(MINUTE)
    pour = upper.portions.get().lift.pour
    log_temperatures(
        site_id=pour.order.site_id, now=at,
        rows=[{"key": "hot", "at": at - MINUTE, "celsius": Decimal("43.1"), "where": "surface",
               "pour": pour, "confirmed": True}],
    )  # fmt: skip
    with pytest.raises(NotReady):
        mix(upper, at, FELT)


def test_nobody_reads_and_nobody_decides_and_it_opens_all_the_same(upper):
    cure = Cure.objects.get()
    at, looks = cure.poured_at, 0
    while not cure.passed(cure.next_opens_at, at):
        at, looks = max(at, cure.next_opens_at), looks + 1
        assert looks < 10
        look(cure, at)
        cure.refresh_from_db()
    weigh(upper, "hardener", at)
    found = hindrances_of(upper, "contact", list(upper.portions.all()), at)
    assert [one.code for one in found] == ["window_closed"], "abraded, it may be poured over"


@pytest.mark.parametrize(("role", "status"), [("technician", 201), ("integration", 403)])
def test_a_person_may_by_rest_and_an_integration_may_not(upper, time_machine, role, status):
    time_machine.move_to(shut_but_likely(MINUTE), tick=False)
    client = caller(make_user(role, upper.site), [upper.site])
    address = f"/api/v1/batches/{upper.pk}/entries"
    body = {"kind": "contact", "gate_reason": FELT.reason, "decided_by": FELT.decided_by}
    answer = client.post(address, body, format="json")
    assert answer.status_code == status, answer.content
    pour = upper.portions.get().lift.pour_id
    off = {"pour": pour, "verdict": "accept", "early_reason": FELT.reason}
    if role == "integration":
        assert client.post("/api/v1/demouldings", off, format="json").status_code == 403
    assert GateRecord.objects.exists() == (status == 201)


def test_the_page_asks_for_the_reason_and_the_name(upper, time_machine):
    time_machine.move_to(shut_but_likely(MINUTE), tick=False)
    page = Client()
    page.force_login(
        make_user("technician", upper.site),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    text = page.get(f"/batches/{upper.pk}/").content.decode()
    assert "felt at its middle and at an edge" in text
