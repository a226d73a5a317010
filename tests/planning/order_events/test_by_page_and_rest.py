"""Orders change while they are under way, by page and by REST."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from planning.pours.models import ToolOrder
from planning.pours.order_changes import hold_order
from shared import clock
from shared.access.models import User
from shared.events.models import Event
from tests.callers import caller, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client, shop_site, now, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: now)
    client.force_login(User.objects.get(username="petra"))
    return client


def test_the_page_of_an_order_holds_releases_changes_and_cancels(take, planned, office):
    pour = take()
    planned(pour)
    page = f"/orders/{pour.order_id}/"
    form = office.get(page).context["form"].initial
    body = {name: "" if value is None else value for name, value in form.items()}
    body |= {"route": pour.order.route_id, "due_on": "2026-12-09", "reason": "later is fine"}
    office.post(f"{page}change/", body)
    assert "later is fine" in office.get(page).content.decode()
    bad = office.post(f"{page}change/", {**body, "due_on": "1999-01-01"})
    assert bad.status_code == 422
    assert "check the year" in bad.content.decode()
    office.post(f"{page}hold/", {"reason": "drawing changes"})
    assert "On hold" in office.get(page).content.decode()
    office.post(f"{page}release/", {"reason": ""})
    office.post(f"{page}quantity/", {"quantity": "2"})
    answer = office.post(f"{page}cancel/", {"reason": "gone"}, follow=True)
    assert "is cancelled" in answer.content.decode()
    assert ToolOrder.objects.get(number="T-1").status == "cancelled"
    rows = Event.objects.filter(object_kind="order")
    by = rows.exclude(kind__in=["order.taken", "pour.planned"])
    assert set(by.values_list("by__username", flat=True)) == {"petra"}


def test_the_page_of_a_pour_changes_its_sizes(take, planned, office):
    pour = take()
    planned(pour)
    page = f"/pours/{pour.pk}/change/"
    form = office.get(page).context["form"]
    body = {
        name: "" if form.initial[name] is None else str(form.initial[name])
        for name in form.fields
        if name in form.initial
    }
    body |= {"depth_mm": "25", "reason": "thinner"}
    assert office.post(page, body).status_code == 302
    event = Event.objects.order_by("-pk").first()
    assert event.payload["new"] == {"depth_mm": "25"}
    assert event.reason == "thinner"
    assert office.post(page, {**body, "depth_mm": "deep"}).status_code == 422


def test_by_rest(take, planned, shop_site, now, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: now)
    pour = take()
    planned(pour)
    calls = caller(make_user("planner", shop_site), [shop_site])
    path = f"/api/v1/tool-orders/{pour.order_id}"
    tag = calls.get(path)["ETag"]
    body = {"due_on": "2026-12-09", "reason": "later"}
    kind = "application/merge-patch+json"
    changed = calls.patch(path, body, etag=tag, content_type=kind)
    assert changed.status_code == 200, changed.json()
    assert changed.json()["due_on"] == "2026-12-09"
    assert calls.patch(path, body, etag=tag, content_type=kind).status_code == 412
    held = calls.post(f"{path}/holds", {"reason": "wait"}, format="json")
    assert held.status_code == 201
    assert held.json()["held_reason"] == "wait"
    assert calls.post(f"{path}/holds", {}, format="json").status_code == 422
    assert calls.post(f"{path}/releases", {}, format="json").json()["held_at"] is None
    more = calls.post(f"{path}/quantities", {"quantity": 2}, format="json")
    assert more.status_code == 201
    gone = calls.post(f"{path}/cancellations", {"reason": "gone"}, format="json")
    assert gone.json()["status"] == "cancelled"
    listed = calls.get(f"/api/v1/events?object=order:{pour.order_id}").json()["items"]
    assert [row["data"]["sequence"] for row in listed] == list(range(1, len(listed) + 1))
    assert listed[-1]["data"]["reason"] == "gone"


def test_an_order_answers_when_it_is_ready_by_what_was_told_last(
    take, planned, shop_site, now, django_assert_num_queries
):
    first, second, left = take("T-1"), take("T-2"), take("T-3")
    planned(first, second)
    buyer = caller(make_user("planner", shop_site), [shop_site])

    def answered():
        rows = buyer.get("/api/v1/tool-orders").json()["items"]
        return {row["number"]: row["ready_at"] for row in rows}

    told = {
        row.payload["number"]: row.payload["new"]["done_at"]
        for row in Event.objects.filter(kind="pour.planned")
    }
    assert answered() == {**{row.order.number: None for row in (first, second, left)}, **told}
    assert told.keys() >= {"T-1", "T-2"}
    one = buyer.get(f"/api/v1/tool-orders/{first.order_id}").json()
    assert one["ready_at"] == told["T-1"]
    hold_order(order=ToolOrder.objects.get(number="T-2"), reason="waits", now=now)
    assert answered()["T-2"] is None, "an order on hold has no date any more"
    with CaptureQueriesContext(connection) as three:
        answered()
    for n in range(4, 9):
        take(f"T-{n}")
    with django_assert_num_queries(len(three)):
        answered()
