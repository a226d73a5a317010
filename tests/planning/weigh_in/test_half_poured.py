"""A lift of two pots of which one is in and the other will not come: told, and ended as it is."""

from datetime import timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from planning.batches.models import Batch, BatchEntry, Lift
from planning.clocks.half_poured import half_poured
from planning.clocks.models import Cure
from planning.pours.models import Pour
from planning.reminders.wanted import all_wanted
from planning.schedule import actions as plans
from planning.schedule import reasons
from planning.shop_changes.actions import ask_mended
from tests.conftest import make_user
from tests.planning.weigh_in.test_losses import ask_again


@pytest.fixture
def batch(take, planned):
    """The first of two pots of one lift."""
    planned(take(length_mm="800", width_mm="400"))
    assert Lift.objects.count() == 1
    assert Batch.objects.count() == 2
    return Batch.objects.order_by("planned_contact").first()


@pytest.fixture
def other(batch):
    return Batch.objects.exclude(pk=batch.pk).get()


@pytest.fixture
def half(batch, other, phone):
    """The first pot is in; the second was scrapped."""
    phone.pour(batch)
    answer = phone.enter(
        "scrapped", other.planned_contact, batch=other, words="fell off the bench"
    )
    assert answer.status_code == 201, answer.content
    return Pour.objects.get()


def test_a_lift_waits_for_its_other_pot(batch, phone):
    phone.pour(batch)
    pour = Pour.objects.get()
    assert half_poured(pour) is None
    assert not Cure.objects.exists()
    answer = phone.page.post(
        f"/pours/{pour.pk}/as-poured/", {"reason": "it is enough"}, follow=True
    )
    assert "no pot to come" in answer.content.decode()
    assert not Cure.objects.exists()


def test_what_is_in_it_is_told_and_ends_the_lift(batch, other, half, phone, clock):
    lift = Lift.objects.get()
    whole, first = lift.mass_kg, batch.portions.get()
    found = half_poured(half)
    assert (found.poured_kg, found.missing_kg) == (first.kg, whole - first.kg)
    page = phone.page.get(f"/pours/{half.pk}/").content.decode()
    assert f"lift 1 holds {first.kg:.3f} of {whole:.3f} kg" in page
    assert not Cure.objects.exists(), "no clock opens what is half there"

    address = f"/pours/{half.pk}/as-poured/"
    phone.page.post(address, {"reason": " "})
    assert not Cure.objects.exists(), "without a reason nothing is ended"
    phone.page.post(address, {"reason": "no hardener left"})
    lift.refresh_from_db()
    cure, pour = Cure.objects.get(), Pour.objects.get()
    assert cure.poured_at == first.poured_at == batch.planned_pour_end
    assert abs(lift.mass_kg - first.kg) < Decimal("0.001")
    assert lift.depth_mm == pytest.approx(Decimal(30) * first.kg / whole, abs=Decimal("0.1"))
    assert pour.status == "pouring"
    assert sum(row["mass_kg"] for row in pour.layers) == pytest.approx(
        float(pour.mass_kg), abs=0.01
    )
    remark = BatchEntry.objects.get(batch=batch, kind="remark")
    assert remark.words.endswith("its pot will not come: no hardener left")
    kinds = {one.kind for one in all_wanted(cure.poured_at).values()}
    assert "next_lift_opens" in kinds
    assert "cure_complete" not in kinds

    again = phone.page.post(address, {"reason": "twice"}, follow=True).content.decode()
    assert "nothing to end lower" in again
    assert Cure.objects.count() == 1


def test_the_remainder_is_planned_as_a_lift_on_top(half, phone, clock):
    now = Batch.objects.get(status="poured").planned_pour_end + timedelta(minutes=40)
    clock.move_to(now)
    phone.page.post(f"/pours/{half.pk}/as-poured/", {"reason": "no hardener left"})
    plan, _ = ask_again(phone, f"/pours/{half.pk}/", half.order.site, now)
    lifts = [row for row in plan.plan["lifts"] if row["pour"] == str(half.pk)]
    assert [row["lift"] for row in lifts] == [0, 1]
    total = sum(row["mass_kg"] for row in lifts)
    assert total == pytest.approx(float(half.mass_kg), abs=0.01)


def test_without_a_right_to_cures_nothing_is_ended(half, client):
    client.force_login(
        make_user("purchasing", half.order.site),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    address = f"/pours/{half.pk}/as-poured/"
    assert client.post(address, {"reason": "just so"}).status_code == 403
    assert not Cure.objects.exists()


@pytest.mark.parametrize(("minutes", "words"), [(20, None), (400, "lift 1 is poured in part")])
def test_a_fresh_pot_is_planned_into_it_only_before_the_first_one_gels(
    half, phone, clock, minutes, words
):
    now = Batch.objects.get(status="poured").planned_pour_end + timedelta(minutes=minutes)
    clock.move_to(now)
    plan, _ = ask_again(phone, f"/pours/{half.pk}/", half.order.site, now)
    if words is None:
        assert [p["lift"] for b in plan.plan["batches"] for p in b["portions"]] == [0, 0]
        assert plan.plan["unplaced"] == []
        return
    (out,) = plan.plan["unplaced"]
    assert out["rule"] == "wet_on_wet"
    assert words in out["words"]
    assert "the lift ends at what is in it" in out["change"]
    page = phone.page.get(f"/plans/{plan.pk}/reasons/").content.decode()
    assert words in page
    assert reasons.look(plan_id=plan.pk, now=now) == 0, "nothing else is to be looked for"


def test_a_weighed_pot_that_nobody_mixed_is_named_with_what_to_do(batch, other, phone, clock):
    phone.weigh("resin")
    phone.weigh("hardener")
    now = other.planned_contact + timedelta(hours=5)
    clock.move_to(now)
    site = batch.site
    plan = ask_mended(site=site, reason="a new day", now=now)
    plan = plans.solve(plan_id=plan.pk, now=now)
    assert plan.violations == []
    (out,) = plan.plan["unplaced"]
    local = batch.planned_contact.astimezone(ZoneInfo(site.time_zone))
    assert f"batch {batch.number} is weighed and not mixed" in out["words"]
    assert f"was to be mixed {local:%a %-d %b %H:%M}" in out["words"]
    assert out["change"].startswith(
        f"If batch {batch.number} was mixed, enter when. If not, scrap"
    )
