"""A sheet that was printed, and the week planned again: the mark, the words and the revision."""

import io
import re
from datetime import timedelta

import pytest
import time_machine
from pypdf import PdfReader

from planning.batches.changes import changes_since
from planning.batches.models import Batch, SheetPrint
from planning.schedule import actions as plans
from tests.conftest import make_user

DAY = "/sheets/2026-11-30/"


def words_of(data):
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)
    return re.sub(r"\s+", " ", text)


def printed(client):
    """Press the print button, and return the paper it leads to."""
    answer = client.post(DAY, follow=True)
    assert answer["Content-Type"] == "application/pdf"
    return answer.content


@pytest.fixture
def technician(shop_site, client):
    user = make_user("technician", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def replan(shop_site):
    def make(now):
        wish = plans.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
        plan = plans.solve(plan_id=wish.pk, now=now)
        assert plan.violations == []
        return plans.confirm(plan=plan, now=now)

    return make


def test_a_new_plan_marks_the_printed_sheet_until_it_is_printed_again(
    take, replan, technician, now
):
    take("T-1")
    replan(now)
    old = Batch.objects.get()
    with time_machine.travel(now + timedelta(minutes=20), tick=False):
        fresh = words_of(printed(technician))
    assert "HAS CHANGED" not in fresh
    assert "2026-W49, revision 1" in fresh

    take("T-2", length_mm="300")
    replan(now + timedelta(minutes=30))
    assert Batch.objects.get(pk=old.pk).planned_start == old.planned_start, "printed work stays"
    (new,) = Batch.objects.exclude(pk=old.pk)
    with time_machine.travel(now + timedelta(minutes=40), tick=False):
        page = technician.get(DAY).content.decode()
        today = technician.get("/today/?who=all").content.decode()
        paper = words_of(technician.get("/sheets/2026-11-30.pdf").content)
        data = technician.get(f"/api/v1{DAY[:-1]}").json()
    assert "THE PLAN HAS CHANGED since Mon 30 Nov 05:20" in page.replace("\\xa0", " ")
    assert f"Batch {new.number} is new." in page
    assert "2026-W49, revision 2" in page
    assert "The plan has changed since" in today
    assert "THE PLAN HAS CHANGED" in paper
    assert "2026-W49, revision 2" in paper
    assert f"Batch {new.number} is new." in paper
    assert data["changed_since_print"] is True
    assert data["printed"]["revision"] == "2026-W49, revision 1"

    with time_machine.travel(now + timedelta(minutes=50), tick=False):
        assert "HAS CHANGED" not in words_of(printed(technician))
    assert SheetPrint.objects.count() == 2


def test_work_done_is_no_change_of_the_plan(take, replan, technician, now):
    pour = take("T-1")
    replan(now)
    technician.post(DAY)
    from planning.pours.steps import sign_step

    sign_step(step=pour.steps.first(), at=now, now=now)
    assert "HAS CHANGED" not in technician.get(DAY).content.decode()


def test_a_day_never_printed_has_no_mark(take, replan, technician, now):
    take("T-1")
    replan(now)
    replan(now + timedelta(minutes=30))
    assert "HAS CHANGED" not in technician.get(DAY).content.decode()


def test_each_difference_is_named():
    was = {
        "batch:1": {"name": "Batch 1", "first contact": "09:00", "people": "Ann"},
        "batch:2": {"name": "Batch 2", "first contact": "10:00", "people": "Ann"},
        "step:3": {"name": "T A: coat 1", "from": "07:00", "people": "Ben"},
    }
    now = {
        "batch:1": {"name": "Batch 1", "first contact": "09:30", "people": "Ben"},
        "step:3": {"name": "T A: coat 1", "from": "07:00", "people": "Ben"},
        "step:4": {"name": "T A: coat 2", "from": "08:00", "people": "Ben"},
    }
    assert changes_since(was, now) == [
        "T A: coat 2 is new.",
        "Batch 1: first contact 09:30 instead of 09:00.",
        "Batch 1: people Ben instead of Ann.",
        "Batch 2 is no longer on this day.",
    ]
