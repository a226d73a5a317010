"""Replacements: when they are proposed, from what lead, accepted as pours or declined."""

from datetime import timedelta

import pytest
import time_machine
from django.db import IntegrityError, transaction
from django.test import Client

from planning.pours.models import OrderStatus, PourStep, ToolOrder
from planning.replacements import actions
from planning.replacements.actions import NoReplacementDue
from planning.replacements.models import ReplacementDecision
from planning.replacements.queries import PlannedCaster, proposals
from shared.errors import Invalid
from shop import stores
from shop.tools.actions import add_event
from shop.tools.models import Tool, ToolFamily
from tests.callers import caller, make_user
from tests.planning.conftest import MONDAY

DAY = timedelta(days=1)


@pytest.fixture
def at_noon():
    with time_machine.travel(MONDAY + 8 * DAY, tick=False):
        yield


@pytest.fixture
def worn(take, shop_site, at_noon):
    """A tool near the end of its stated life, cast by an order that took five days."""
    pour = take(number="T-1")
    steps = list(PourStep.objects.filter(pour=pour).order_by("pk"))
    for step, days in ((steps[0], 1.0), (steps[-1], 5.5)):
        step.planned_start = MONDAY + days * DAY
        step.planned_end = step.done_at = MONDAY + (days + 0.5) * DAY
        step.save()
    tool = pour.order.tool
    family = ToolFamily.objects.create(
        site=shop_site, code="RIM", name="Rim tools", stated_shots=200
    )
    Tool.objects.filter(pk=tool.pk).update(
        status="in_service", family=family, shots_per_coat=1000, promised_shots=70
    )
    at = MONDAY + 7 * DAY
    add_event(tool_id=tool.pk, kind="shots", key="s", at=at, shots=180)
    tool.refresh_from_db()
    return tool


def test_the_lead_comes_from_the_plan(worn, shop_site):
    lead = PlannedCaster().leads(shop_site.pk, [worn.pk])[worn.pk]
    # The order came in on Monday; work began a day later and ended five days after that.
    assert lead.days == 1 + 5
    assert lead.words == (
        "6 days: 1 until work on a new order begins (median of 1), 5 from first to last step, "
        "as order T-1"
    )


def test_without_an_order_to_learn_from_a_usual_lead_is_taken_and_said(worn, shop_site):
    PourStep.objects.update(planned_start=None, planned_end=None, done_at=None)
    [one] = proposals(shop_site)
    assert one.need.lead_words.startswith("21 days, as no order here tells")


def test_a_replacement_is_proposed_in_time_and_reminded_of(worn, shop_site):
    [one] = proposals(shop_site)
    assert one.need.order_by == one.need.last_day - 6 * DAY
    assert one.need.basis.startswith("From no failure, 1 tool in service or retired sound, and")
    assert (one.order.number, one.mass_kg > 0, one.cost) == ("T-1", True, {})
    [need] = stores.tools_due(tool_ids=[worn.pk])
    assert need.work == "a replacement"
    assert f"Order it by {one.need.order_by}" in need.words


def test_a_tool_with_much_life_left_wants_none(worn, shop_site):
    ToolFamily.objects.update(stated_shots=200_000)
    assert proposals(shop_site) == []
    assert list(stores.tools_due(tool_ids=[worn.pk])) == []


def test_an_accepted_one_is_ordered_as_pours_and_told_no_more(worn, shop_site, now):
    made = actions.decide(site=shop_site, tool_id=worn.pk, accepted=True, now=now)
    order = made.order
    assert (order.tool.code, order.tool.replaces_id) == (f"{worn.code}-R", worn.pk)
    assert (order.tool.family_id, order.tool.shots_per_coat) == (worn.family_id, 1000)
    assert (order.tool.status, order.tool.promised_shots) == ("asked", 0)
    first, again = (ToolOrder.objects.get(pk=pk).pours.get() for pk in (
        ToolOrder.objects.get(number="T-1").pk, order.pk))  # fmt: skip
    assert (again.mass_kg, again.system_id, again.layers) == (
        first.mass_kg, first.system_id, first.layers
    )  # fmt: skip
    assert again.steps.count() == first.steps.count()
    assert not again.steps.filter(done_at__isnull=False).exists()
    assert proposals(shop_site) == []
    assert list(stores.tools_due(tool_ids=[worn.pk])) == []
    with pytest.raises(NoReplacementDue):
        actions.decide(site=shop_site, tool_id=worn.pk, accepted=True, now=now)
    ToolOrder.objects.filter(pk=order.pk).update(status=OrderStatus.CANCELLED)
    assert len(proposals(shop_site)) == 1
    assert actions.decide(
        site=shop_site, tool_id=worn.pk, accepted=True, now=now
    ).order.tool.code == f"{worn.code}-R1"  # fmt: skip


def test_a_declined_one_says_why_and_comes_back_after_four_weeks(worn, shop_site, now):
    with pytest.raises(Invalid, match="say why"):
        actions.decide(site=shop_site, tool_id=worn.pk, accepted=False, now=now)
    actions.decide(
        site=shop_site, tool_id=worn.pk, accepted=False, reason="the order ends", now=now
    )
    assert proposals(shop_site) == []
    ReplacementDecision.objects.update(decided_at=now - 21 * DAY)
    assert len(proposals(shop_site)) == 1


def test_the_table_wants_an_order_or_a_reason(worn, now):
    dates = {"order_by": now.date(), "last_day": now.date(), "decided_at": now}
    for values in ({"accepted": True}, {"accepted": False, "reason": ""}):
        with pytest.raises(IntegrityError), transaction.atomic():
            ReplacementDecision.objects.create(tool=worn, **dates, **values)


def test_without_an_order_nothing_can_be_copied(worn, shop_site, now):
    ToolOrder.objects.update(status=OrderStatus.CANCELLED)
    with pytest.raises(NoReplacementDue, match="enter an order for its replacement by hand"):
        actions.decide(site=shop_site, tool_id=worn.pk, accepted=True, now=now)
    assert not Tool.objects.filter(replaces=worn).exists()


def test_by_rest(worn, shop_site):
    client = caller(make_user("tool_keeper", shop_site), [shop_site])
    [row] = client.get("/api/v1/replacements/proposals").data
    assert (row["tool"], row["code"]) == (str(worn.pk), worn.code)
    body = {"tool": str(worn.pk), "accepted": False, "reason": "the order ends"}
    made = client.post("/api/v1/replacements", body)
    assert made.status_code == 201, made.data
    assert (made.data["reason"], made.data["order"]) == ("the order ends", None)
    again = client.post("/api/v1/replacements", body)
    assert (again.status_code, again.data["code"]) == (409, "no_replacement_due")
    assert client.get("/api/v1/replacements/proposals").data == []
    assert client.get(f"/api/v1/replacements/{made.data['id']}").status_code == 200


def test_by_page(worn, shop_site):
    client = Client()
    client.force_login(
        make_user("tool_keeper", shop_site), backend="django.contrib.auth.backends.ModelBackend"
    )
    page = client.get("/replacements/").content.decode()
    assert "as order T-1" in page
    assert "From no failure" in page
    empty = client.post("/replacements/decide/", {"tool": "x", "decision": "accept"}, follow=True)
    assert "No replacement of this tool is proposed" in empty.content.decode()
    body = {"tool": str(worn.pk), "decision": "accept"}
    page = client.post("/replacements/decide/", body, follow=True).content.decode()
    assert "is taken in; plan its week next" in page
    assert "ordered as" in page
    assert "median of 1" in client.get(f"/tools/{worn.pk}/").content.decode()
