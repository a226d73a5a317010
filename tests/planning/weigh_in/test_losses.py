"""A short pour, a leak and a dead pot: stock, cure clock and plan follow; told over HTTP."""

from datetime import timedelta
from decimal import Decimal

import pytest

from planning.batches.models import Batch, Lift
from planning.clocks.models import Cure
from planning.pours.models import Pour
from planning.reminders.wanted import all_wanted
from planning.schedule import actions as plans
from planning.schedule.models import WeekPlan
from shop.models import Movement, Reservation
from tests.factories.clocks import open_for_next, watch_air

KG = Decimal("1.2")
"""Enough for a pot that can be weighed honestly."""


@pytest.fixture
def batch(take, planned):
    planned(take(length_mm="400", width_mm="200"))
    return Batch.objects.get()


def ask_again(phone, address, site, now):
    """Tap the offer, let the worker make the plan; returns the plan and the comparison."""
    answer = phone.page.post(f"{address}new-plan/")
    assert answer.status_code == 302, answer.content
    plan = WeekPlan.objects.latest("pk")
    assert answer["Location"] == f"/plans/{plan.pk}/compare/"
    assert "is waiting" in phone.page.get(answer["Location"]).content.decode()
    plan = plans.solve(plan_id=plan.pk, now=now)
    assert plan.violations == []
    return plan, phone.page.get(answer["Location"]).content.decode()


@pytest.mark.parametrize("kind", ["short", "leak"])
def test_what_is_missing_is_planned_and_poured_as_a_lift_of_its_own(batch, phone, clock, kind):
    phone.pour()
    cure, lift = Cure.objects.get(), Lift.objects.get()
    whole, issued = lift.mass_kg, Movement.objects.count()
    at = batch.planned_pour_end + timedelta(minutes=5)
    answer = phone.enter(kind, at, facts={"kg": str(KG)}, words="at the parting line")
    assert answer.status_code == 201, answer.content

    lift.refresh_from_db()
    pour = Pour.objects.get()
    assert lift.mass_kg == whole - KG
    assert lift.depth_mm == pytest.approx(Decimal(30) * (whole - KG) / whole, abs=Decimal("0.1"))
    assert pour.status == "pouring"
    assert Movement.objects.count() == issued, "what was weighed stays used up, no more, no less"
    kinds = {one.kind for one in all_wanted(at).values() if one.subject == f"cure:{cure.pk}"}
    assert "next_lift_opens" in kinds
    assert "cure_complete" not in kinds, "a mould that is not full is not told as cured"
    page = phone.page.get(f"/batches/{batch.pk}/state.json").json()
    assert page["new_plan"]["words"].endswith("1.2 kg missing: at the parting line")
    assert page["new_plan"]["plan"] is None
    assert "below the top of the mould" in phone.page.get(f"/pours/{pour.pk}/").content.decode()

    plan, page = ask_again(phone, f"/batches/{batch.pk}/", batch.site, at)
    assert plan.reason.startswith(f"Batch {batch.number}: ")
    assert plan.reason in page
    assert "1 → 2" in page, "the pour now has a second lift"
    again = phone.page.post(f"/batches/{batch.pk}/new-plan/")
    assert again["Location"] == f"/plans/{plan.pk}/compare/", "a second tap asks for no second"
    plans.confirm(plan=plan, now=at)
    rest = Lift.objects.get(number=2)
    assert rest.mass_kg == pytest.approx(KG, abs=Decimal("0.0001"))
    assert Lift.objects.get(number=1).mass_kg == whole - KG

    again = rest.portions.get().batch
    assert phone.enter("contact", batch=again, key="early").status_code in (409, 422)
    watch_air(batch.site, cure.poured_at, 2)
    phone.pour(again, max(timedelta(0), open_for_next(pour) - again.planned_contact))
    pour.refresh_from_db()
    assert pour.status == "curing"
    after = phone.page.get(f"/pours/{pour.pk}/").content.decode()
    assert "below the top of the mould" not in after


def test_a_rest_too_small_for_a_pot_may_be_left_and_the_casting_then_cures(batch, phone, clock):
    phone.pour()
    at = batch.planned_pour_end + timedelta(minutes=5)
    pour, small = Pour.objects.get(), Decimal("0.300")
    batch.system.least_batch_kg = Decimal("0.800")
    batch.system.save()
    address = f"/pours/{pour.pk}/"
    refused = phone.page.post(f"{address}lower/", {"reason": "thick enough"}, follow=True)
    assert "can be left lower" in refused.content.decode(), "a full mould lacks nothing"
    phone.enter("short", at, facts={"kg": str(small)}, words="ran out")
    lower = Lift.objects.get()
    page = phone.page.get(address).content.decode()
    assert f"the least batch of {batch.system.name} is 0.800" in page
    assert "ready for the other 0.500" in page
    assert "Common practice, no source" in page
    short = phone.page.post(f"{address}lower/", {"reason": " x"}, follow=True).content.decode()
    assert "The reason is x; write at least 3 letters." in short
    pour.refresh_from_db()
    assert pour.status == "pouring"

    phone.page.post(f"{address}lower/", {"reason": "the cover is 14 mm"})
    pour.refresh_from_db()
    assert pour.status == "curing"
    assert sum(row["depth_mm"] for row in pour.layers) == pytest.approx(float(lower.depth_mm))
    assert sum(row["mass_kg"] for row in pour.layers) == pytest.approx(float(lower.mass_kg))
    assert batch.entries.get(kind="remark").words.endswith("kg less: the cover is 14 mm")
    kinds = {one.kind for one in all_wanted(at).values()}
    assert "cure_complete" in kinds
    page = phone.page.get(address).content.decode()
    assert "below the top of the mould" not in page
    assert "Record the demoulding" in page
    again = phone.page.post(f"{address}lower/", {"reason": "once more"}, follow=True)
    assert "can be left lower" in again.content.decode()


def test_a_dead_pot_is_planned_again_with_its_stock_as_it_is(batch, phone, clock):
    phone.weigh("resin")
    issued = Movement.objects.filter(kind="issue").count()
    phone.enter("scrapped", batch.planned_start, words="fell off the bench")
    assert not Reservation.objects.exists()
    plan, _ = ask_again(phone, f"/batches/{batch.pk}/", batch.site, batch.planned_start)
    assert plan.reason == f"Batch {batch.number}: pot scrapped: fell off the bench"
    plans.confirm(plan=plan, now=batch.planned_start)
    fresh = Batch.objects.exclude(pk=batch.pk).get()
    assert fresh.status == "planned"
    assert Lift.objects.get().portions.get().batch == fresh
    assert Movement.objects.filter(kind="issue").count() == issued


def test_a_pot_that_dies_after_first_contact_lets_its_pour_wait_again(batch, phone):
    phone.weigh("resin")
    phone.weigh("hardener")
    phone.enter("contact")
    phone.enter("scrapped", batch.planned_contact + timedelta(minutes=9), words="too hot")
    assert Pour.objects.get().status == "planned"
    assert not Cure.objects.exists()


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ({"facts": {"kg": "99"}}, "can be missing. If nothing is left in the mould"),
        ({}, "facts/kg is empty; give how many kg are missing from the lift, 0 if none"),
    ],
)
def test_a_loss_that_makes_no_sense_is_refused_and_changes_nothing(batch, phone, body, words):
    phone.pour()
    before = Lift.objects.values().get()
    answer = phone.enter("short", batch.planned_pour_end, **body)
    assert answer.status_code == 422
    assert words in answer.json()["errors"][0]["detail"]
    assert Lift.objects.values().get() == before
    assert not batch.entries.filter(kind="short").exists()


def test_a_new_plan_hears_of_all_that_happened_since_the_one_before(batch, phone, clock):
    phone.pour()
    at = batch.planned_pour_end
    minutes = [at + timedelta(minutes=n) for n in (1, 2, 3)]
    phone.enter("short", minutes[0], facts={"kg": str(KG)}, words="pot too small")
    phone.enter("leak", minutes[1], facts={"kg": "0.2"}, words="corner")
    both = "barrier leaked, 0.2 kg missing: corner; poured short, 1.2 kg missing: pot too small"
    address = f"/batches/{batch.pk}/"
    assert phone.page.get(f"{address}state.json").json()["new_plan"]["words"].endswith(both)
    phone.page.post(f"{address}new-plan/")
    assert WeekPlan.objects.latest("pk").reason == f"Batch {batch.number}: {both}"
    phone.enter("leak", minutes[2], key="third", facts={"kg": "0.1"}, words="again")
    words = phone.page.get(f"{address}state.json").json()["new_plan"]["words"]
    assert words == f"Batch {batch.number}: barrier leaked, 0.1 kg missing: again"


def test_a_leak_that_lost_nothing_is_only_written_down(batch, phone):
    phone.pour()
    phone.enter("leak", batch.planned_pour_end, facts={"kg": "0"}, words="a damp corner")
    assert Pour.objects.get().status == "curing"
    assert batch.entries.get(kind="leak").portion == batch.portions.get()


def test_a_short_weight_said_at_pouring_need_not_be_said_again(batch, phone):
    phone.weigh("resin")
    phone.weigh("hardener")
    phone.enter("contact")
    portion = batch.portions.get()
    less = str(round(portion.kg - KG, 4))
    mixed = batch.planned_contact + timedelta(minutes=4)
    phone.enter("poured", mixed, portion=str(portion.pk), facts={"kg": less})
    assert phone.enter("short", batch.planned_pour_end).status_code == 201
    portion.refresh_from_db()
    assert portion.lost_kg == pytest.approx(KG, abs=Decimal("0.0001"))


def test_nothing_is_asked_where_nothing_happened(batch, phone):
    answer = phone.page.post(f"/batches/{batch.pk}/new-plan/", follow=True)
    assert "Nothing is recorded" in answer.content.decode()
    assert WeekPlan.objects.count() == 1


@pytest.mark.parametrize("part", ["0.528", "0.53031", "0.5377", "0.6111"])
def test_a_pot_short_after_a_loss_is_poured_and_each_kilogram_lacks_once(batch, phone, part):
    phone.weigh("resin")
    phone.weigh("hardener")
    phone.enter("contact")
    portion, whole = batch.portions.get(), Lift.objects.get().mass_kg
    lost = round(portion.kg * Decimal(part), 4)
    told = phone.enter("short", portion=str(portion.pk), facts={"kg": str(lost)})
    assert told.status_code == 201
    weighing = batch.lines.get(role="resin").weighings.get()
    half = {"weighing": str(weighing.pk), "to_kg": str(round(weighing.weighed_kg / 3, 4))}
    body = {**half, "reason": "read again"}
    assert phone.post("amendments", body, "half").status_code == 201
    gate = phone.page.get(f"/api/v1/batches/{batch.pk}/gate").json()
    answer = phone.enter("poured", portion=str(portion.pk), already=True)
    assert answer.status_code == 201, answer.content
    portion.refresh_from_db()
    assert str(portion.poured_kg) == gate["portions"][0]["offered_kg"]
    assert portion.lost_kg == pytest.approx(whole - portion.poured_kg, abs=Decimal("0.02"))
    assert Lift.objects.get().mass_kg == whole - portion.lost_kg


def test_what_was_told_to_lack_beforehand_is_not_asked_of_the_pot_again(batch, phone):
    phone.weigh("resin")
    phone.weigh("hardener")
    phone.enter("contact")
    portion = batch.portions.get()
    phone.enter("short", portion=str(portion.pk), facts={"kg": str(KG)})
    phone.enter("poured", batch.planned_pour_end, portion=str(portion.pk))
    portion.refresh_from_db()
    assert (portion.poured_kg, portion.lost_kg) == (round(portion.kg - KG, 4), KG)
    page = phone.page.get(f"/batches/{batch.pk}/state.json").json()
    assert page["portions"][0]["wanted_kg"] == str(portion.kg - KG)
