"""The Week page says "In time" only of pours that will be, as far as the shop knows by now."""

from dataclasses import replace
from datetime import timedelta

import pytest
import time_machine

from planning.batches.models import Batch, BatchPortion
from planning.core import plain
from planning.core import plan as core
from planning.pours.actions import change_pour
from planning.pours.order_changes import cancel_order
from planning.schedule.board import late_pours
from planning.schedule.models import WeekPlan
from tests.conftest import make_user
from tests.factories.floor import sign_off

pytestmark = pytest.mark.django_db


@pytest.fixture
def said(take, planned, shop_site, client, now):
    """Plan one pour and return what its row on the Week page says, at a minute."""
    pour = take()
    planned(pour)
    client.force_login(
        make_user("planner", shop_site), backend="django.contrib.auth.backends.ModelBackend"
    )

    def row(at=now):
        with time_machine.travel(at, tick=False):
            page = client.get("/week/2026-W49/").content.decode()
        rows = page.split('aria-label="Pours"')[1].split("</section>")[0].split("<tr")
        return next(one for one in rows if f"/pours/{pour.pk}/" in one)

    row.pour = pour
    return row


def last_only(site):
    """Drop plans that a change has asked for: the page then shows the confirmed one."""
    WeekPlan.objects.filter(site=site).exclude(state="confirmed").delete()


def test_a_pour_that_goes_as_planned_is_in_time(said):
    assert "In time" in said()
    assert 'class="row--stop"' not in said()


def test_an_earlier_due_date_counts_at_once(said, shop_site, now):
    change_pour(pour=said.pour, changes={"due_on": now.date()}, now=now)
    last_only(shop_site)
    assert "In time" not in said()
    assert "late" in said().lower()


def test_a_cancelled_order_is_not_said_to_be_in_time(said, shop_site, now):
    cancel_order(order=said.pour.order, now=now)
    last_only(shop_site)
    assert "In time" not in said()
    assert "Cancelled" in said()


def test_a_pot_that_was_not_begun_in_time_leaves_the_end_unknown(said):
    batch = Batch.objects.get()
    sign_off(batch)
    assert "In time" in said(batch.planned_pour_end)
    later = said(batch.planned_pour_end + timedelta(minutes=31))
    assert "In time" not in later
    assert "Behind the plan" in later
    assert "not known" in later


def test_a_portion_that_died_in_its_pot_leaves_the_end_unknown(said):
    BatchPortion.objects.all().delete()
    assert "Not all of it is planned" in said()


def test_a_rest_without_a_place_has_no_end(said, shop_site):
    row = WeekPlan.objects.get(state="confirmed")
    answer = plain.from_plain(core.Plan, row.plan)
    problem = plain.from_plain(core.Problem, row.problem)
    left = core.Unplaced(str(said.pour.pk), "wet_on_wet", "the batch below would gel")
    row.plan = plain.to_plain(replace(answer, unplaced=(left,)))
    row.save()
    assert "In time" not in said()
    assert "The rest has no place" in said()
    begun = plain.from_plain(core.Plan, row.plan)
    early = replace(problem, pours=tuple(replace(p, due_min=1) for p in problem.pours))
    assert late_pours(early, answer)
    assert not late_pours(early, begun)
