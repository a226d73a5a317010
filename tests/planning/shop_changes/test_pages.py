"""Two taps from Today and from the week, and the same by REST."""

from datetime import timedelta

import pytest

from planning.batches.models import Batch
from planning.schedule.models import PlanState, WeekPlan
from shared import clock
from shared.access.models import User
from shop.models import ClosedDay, DayChange, Outage
from tests.callers import caller, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def floor(client, shop_site, now, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: now)
    client.force_login(User.objects.get(username="petra"))
    return client


def text(answer):
    return answer.content.decode()


@pytest.mark.parametrize("page", ["/today/", "/week/2026-W49/"])
def test_the_way_is_two_taps_long(floor, page):
    assert 'href="/changes/"' in text(floor.get(page))
    assert 'href="/changes/absence/"' in text(floor.get("/changes/"))


def test_an_absence_by_page_names_what_breaks_and_offers_the_mended_plan(take, planned, floor):
    pour = take()
    planned(pour)
    batch = Batch.objects.get()
    person = batch.people.get()
    page = floor.post("/changes/absence/", {"person": person.pk, "day": "2026-11-30"})
    words = text(page)
    assert f"{person.name} is away on Mon 30 Nov." in words
    assert "What this breaks in the confirmed plan" in words
    for name in (str(pour), batch.number, person.name):
        assert name in words
    answer = floor.post("/changes/mend/", {"reason": f"{person.name} is away on Mon 30 Nov."})
    plan = WeekPlan.objects.order_by("-pk").first()
    assert answer.url == f"/plans/{plan.pk}/compare/"
    assert (plan.state, plan.reason) == (
        PlanState.WAITING,
        f"{person.name} is away on Mon 30 Nov.",
    )
    listed = text(floor.get("/changes/"))
    assert "No longer holds" in listed
    row = DayChange.objects.get()
    floor.post("/changes/back/", {"list": "day-changes", "row": row.pk})
    assert not DayChange.objects.exists()
    assert "keeps every rule" in text(floor.get("/changes/"))


def test_something_out_of_use_by_page_is_local_time(take, planned, floor):
    planned(take())
    batch = Batch.objects.get()
    page = floor.post(
        "/changes/out_of_use/",
        {
            "thing": f"mixer:{batch.mixer_id}", "from_day": "2026-11-30", "from_time": "05:00",
            "to_day": "2026-12-04", "to_time": "18:00", "reason": "belt",
        },
    )  # fmt: skip
    assert batch.number in text(page)
    out = Outage.objects.get()
    assert out.starts_at.isoformat() == "2026-11-30T04:00:00+00:00"
    assert out.ends_at - out.starts_at == timedelta(days=4, hours=13)


def test_a_field_left_out_is_marked_and_nothing_entered(floor):
    answer = floor.post("/changes/absence/", {"day": "2026-11-30"})
    assert answer.status_code == 422
    answer = floor.post("/changes/closed_day/", {"day": "2026-11-29"})
    assert answer.status_code == 422
    assert "which is over" in text(answer)
    assert not DayChange.objects.exists()
    assert not ClosedDay.objects.exists()


def test_by_rest_the_answer_names_rows(take, planned, shop_site, now, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: now)
    pour = take()
    planned(pour)
    batch = Batch.objects.get()
    person = batch.people.get()
    calls = caller(make_user("planner", shop_site), [shop_site])
    held = calls.get("/api/v1/plan-check")
    assert held.json() == {"plan": str(batch.plan_id), "broken": []}
    answer = calls.post(
        "/api/v1/shop-changes",
        {"kind": "absence", "person": str(person.pk), "day": "2026-11-30"},
        format="json",
    )
    assert answer.status_code == 201, answer.json()
    told = answer.json()
    assert told["rows"] == [{"list": "day-changes", "id": str(DayChange.objects.get().pk)}]
    assert told["broken_before"] == 0
    named = {(kind, row["id"]) for one in told["breaks"] for kind in ("pours", "batches", "people")
             for row in one[kind]}  # fmt: skip
    assert {("pours", str(pour.pk)), ("batches", str(batch.pk)), ("people", str(person.pk))} <= (
        named
    )
    assert calls.get("/api/v1/plan-check").json()["broken"] == told["breaks"]
    bad = calls.post("/api/v1/shop-changes", {"kind": "absence"}, format="json")
    assert bad.status_code == 422
    assert {one["pointer"] for one in bad.json()["errors"]} == {"#/person", "#/day"}


@pytest.mark.parametrize(("role", "status"), [("technician", 200), ("purchasing", 403)])
def test_who_may_report(client, shop_site, now, monkeypatch, role, status):
    monkeypatch.setattr(clock, "now", lambda: now)
    client.force_login(make_user(role, shop_site))
    assert client.get("/changes/absence/").status_code == status
    assert ("Somebody is away" in text(client.get("/changes/"))) == (status == 200)
