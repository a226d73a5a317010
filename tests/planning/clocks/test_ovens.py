"""A casting in an oven: when it went in and came out, and what its clock makes of it."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from planning.batches.models import Batch, Lift
from planning.clocks import actions as clocks
from planning.clocks.asking import look
from planning.clocks.models import Cure, OvenStay
from planning.clocks.ovens import into_oven, mark_stay_wrong, out_of_oven
from planning.clocks.standing import asked_now
from shared.errors import Invalid, ShopError
from tests.callers import caller, make_user

HOUR = timedelta(hours=1)


@pytest.fixture
def deep(take, planned):
    """A lift of 55 mm of the system whose kinetics are known."""
    planned(take(system="T", depth_mm="55"))
    return clocks.start_clock(
        lift=Lift.objects.get(), poured_at=Batch.objects.get().planned_pour_end
    )


def put_in(cure, h=6, set_c=50, now_h=None, key="in"):
    at = cure.poured_at + h * HOUR
    now = at if now_h is None else cure.poured_at + now_h * HOUR
    return into_oven(pour=cure.lift.pour, set_c=Decimal(set_c), at=at, now=now, key=key)


def fresh(cure):
    return Cure.objects.get(pk=cure.pk)


def test_a_casting_goes_in_after_it_was_poured_and_comes_out_after_it_went_in(deep):
    with pytest.raises(Invalid, match="was poured"):
        put_in(deep, -1, now_h=2)
    stay = put_in(deep)
    with pytest.raises(Invalid, match="went into the oven"):
        out_of_oven(stay=stay, at=deep.poured_at + HOUR, now=deep.poured_at + 20 * HOUR)
    with pytest.raises(Invalid, match="future"):
        out_of_oven(stay=stay, at=deep.poured_at + 30 * HOUR, now=deep.poured_at + 20 * HOUR)
    out = out_of_oven(stay=stay, at=deep.poured_at + 9 * HOUR, now=deep.poured_at + 9 * HOUR)
    assert out.out_at == deep.poured_at + 9 * HOUR
    with pytest.raises(ShopError, match="is over"):
        out_of_oven(stay=stay, at=out.out_at, now=out.out_at)


def test_an_oven_too_hot_to_handle_is_left_before_anything_is_taken_off(deep):
    calm = fresh(deep).cured_due_at
    stay = put_in(deep)
    hot = fresh(deep)
    assert hot.demould_due_at is None
    assert hot.waits_for == "out_of_oven"
    assert hot.cured_due_at < calm, "the oven cures it sooner"
    assert "out of oven" in hot.asks
    late = deep.poured_at + 60 * HOUR
    assert not asked_now(deep.lift.pour, late).may_demould(late)
    out_of_oven(stay=stay, at=late, now=late)
    cooling = fresh(deep)
    assert cooling.waits_for == ""
    assert cooling.demould_due_at > late


def test_a_stay_marked_wrong_counts_no_more_and_stays_to_be_seen(deep):
    at = deep.poured_at + 6 * HOUR
    look(deep, at)
    before = fresh(deep)
    stay = put_in(deep)
    assert fresh(deep).cured_due_at != before.cured_due_at
    with pytest.raises(Invalid, match="at least 3 letters"):
        mark_stay_wrong(stay=stay, reason=" ", now=at)
    mark_stay_wrong(stay=stay, reason="another casting", now=at)
    assert fresh(deep).cured_due_at == before.cured_due_at
    assert OvenStay.objects.get().wrong_reason == "another casting"
    assert put_in(deep, key="again"), "it may go in again"


def test_one_oven_at_a_time_and_within_what_an_oven_does(deep):
    with pytest.raises(Invalid, match="must be 25 to 150"):
        put_in(deep, set_c=180)
    first = put_in(deep)
    assert put_in(deep) == first, "a repeat"
    with pytest.raises(ShopError, match="in the oven already"):
        put_in(deep, 7, key="two")
    with pytest.raises(IntegrityError), transaction.atomic():
        OvenStay.objects.create(
            pour=deep.lift.pour, set_c=60, in_at=first.in_at, key="x", recorded_at=first.in_at
        )


def test_by_page_and_rest(deep, client):
    import time_machine

    site = deep.lift.pour.order.site
    user = make_user("technician", site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    tech = caller(user, [site])
    page = f"/pours/{deep.lift.pour_id}/"
    with time_machine.travel(deep.poured_at + 6 * HOUR, tick=False):
        bad = client.post(f"{page}oven/", {"set_c": "300", "at": ""})
        assert bad.status_code == 422
        assert "Oven set to is 300 °C; it must be 25 to 150 °C." in bad.content.decode()
        went = client.post(f"{page}oven/", {"set_c": "50", "at": ""}, follow=True)
        assert "in the oven, too hot to handle" in went.content.decode()
        stay = OvenStay.objects.get()
        told = tech.get(f"/api/v1/oven-stays/{stay.pk}").json()
        assert (told["set_c"], told["out_at"]) == ("50.0", None)
        cure = tech.get(f"/api/v1/cures/{deep.pk}").json()
        assert (cure["waits_for"], cure["may_demould"]) == ("out_of_oven", False)
    with time_machine.travel(deep.poured_at + 8 * HOUR, tick=False):
        out = client.post(f"{page}oven/{stay.pk}/out/", {"at": ""}, follow=True)
        assert "came out of the oven" in out.content.decode()
        marked = tech.post(
            f"/api/v1/oven-stays/{stay.pk}/withdrawals", {"reason": "another casting"},
            format="json",
        )  # fmt: skip
        assert marked.status_code == 201, marked.json()
        body = {"pour": str(deep.lift.pour_id), "set_c": "40"}
        made = tech.post("/api/v1/oven-stays", body, format="json")
        assert made.status_code == 201, made.json()
        outs = f"/api/v1/oven-stays/{made.json()['id']}/outs"
        assert tech.post(outs, {}, format="json").status_code == 201
