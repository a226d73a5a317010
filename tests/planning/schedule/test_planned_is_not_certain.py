"""A time planned for demoulding is told as planned, and paper sends nobody off by a time alone."""

import io
from datetime import timedelta

from django.test import Client
from pypdf import PdfReader

from planning.batch_sheets.words import DEMOULD_NOT_BEFORE
from planning.clocks.actions import start_clock
from planning.clocks.models import Cure
from planning.clocks.words import PLANNED
from planning.core import plain
from planning.core import plan as core
from planning.pours.models import Pour, PourStatus
from planning.schedule.pages import week_name
from shared import clock
from tests.conftest import make_user


def text_of(page):
    return " ".join(page.content.decode().split())


def test_planned_time_is_likeliest_and_every_place_says_so(take, planned, shop_site, time_machine):
    plan = planned(take(system="T", depth_mm="40"))
    problem = plain.from_plain(core.Problem, plan.problem)
    pour = Pour.objects.get()
    lift = pour.lifts.get()
    start_clock(lift=lift, poured_at=lift.planned_end)
    cure = Cure.objects.get()
    # What is warned of: the plan's time is before the one at which the clock lets anybody on.
    planned_at = lift.planned_end + timedelta(minutes=problem.systems[0].conditions[0].cure_min)
    assert planned_at < cure.demould_due_at
    assert planned_at >= cure.demould_best_at - timedelta(hours=1)
    time_machine.move_to(lift.planned_end, tick=False)
    Pour.objects.update(status=PourStatus.CURING)
    browser = Client()
    browser.force_login(
        make_user("planner", shop_site), backend="django.contrib.auth.backends.ModelBackend"
    )
    day = clock.local(cure.demould_due_at, shop_site).date()
    assert PLANNED in text_of(browser.get(f"/pours/{pour.pk}/"))
    week = week_name(clock.local(lift.planned_end, shop_site).date())
    assert PLANNED in text_of(browser.get(f"/week/{week}/"))
    assert DEMOULD_NOT_BEFORE in text_of(browser.get(f"/sheets/{day}/"))
    pages = PdfReader(io.BytesIO(browser.get(f"/sheets/{day}.pdf").content)).pages
    assert DEMOULD_NOT_BEFORE in " ".join(" ".join(p.extract_text() for p in pages).split())
