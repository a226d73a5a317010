"""Signed hands-on times, from the page to the plan: shown with what they rest on, or not used."""

import io
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from planning.pours.models import Pour
from planning.pours.step_times import kind_of, paces
from planning.pours.steps import sign_step
from planning.rules.actions import keep_rules
from planning.schedule import actions as plans
from tests.conftest import make_user

SMOOTH = "Smooth and clean"


@pytest.mark.parametrize(
    ("name", "kind"),
    [("Paste wax, coat 2 of 5", "Paste wax, coat"), (SMOOTH, SMOOTH), ("2 of 5", "2 of 5")],
)
def test_the_coats_of_one_recipe_are_one_kind(name, kind):
    assert kind_of(name) == kind


@pytest.fixture
def technician(shop_site, client):
    user = make_user("technician", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def slow(take, now):
    """Four pours whose smoothing took twice its 15 min; a fifth one is still to be planned."""
    for n in range(1, 5):
        step = take(f"T-{n}").steps.get(name=SMOOTH)
        sign_step(step=step, at=now - timedelta(hours=n), now=now, took_min=30)
    Pour.objects.update(status="cancelled")
    return take("T-5")


def planned_minutes(shop_site, pour, now):
    wish = plans.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    plan = plans.solve(plan_id=wish.pk, now=now)
    assert plan.violations == []
    step = pour.steps.get(name=SMOOTH)
    (task,) = [t for t in plan.plan["tasks"] if t["step"] == str(step.pk)]
    return task["end_min"] - task["start_min"]


def test_the_plan_takes_the_shops_own_times_unless_the_foreman_says_otherwise(
    shop_site, slow, now
):
    assert paces(shop_site.pk)[SMOOTH].factor == pytest.approx(1.5)
    assert planned_minutes(shop_site, slow, now) == 23
    keep_rules(site_id=shop_site.pk, values={}, own_times=False)
    assert planned_minutes(shop_site, slow, now) == 15


def test_the_routes_page_says_what_an_estimate_rests_on(slow, technician):
    assert "/routes/single/" in technician.get("/routes/").content.decode()
    page = technician.get("/routes/single/").content.decode().replace("\xa0", " ")
    assert "<strong>23 min</strong>" in page
    assert "4 recorded, middle 30 min, drawn towards the template" in page
    assert "nothing is recorded yet" in page


def test_another_sites_times_are_its_own(slow):
    from tests.factories.shop import make_site

    assert paces(make_site(code="OTHER").pk) == {}


def test_a_check_that_is_not_so_needs_a_remark_and_a_photo_is_kept(take, technician, now):
    step = take("T-1").steps.get(name__startswith="Cut, brace")
    name, address = f"step-{step.pk}", f"/pour-steps/{step.pk}/sign/"
    sent = {f"{name}-check_0": "12", f"{name}-took_min": "35"}
    refused = technician.post(address, sent)
    assert refused.status_code == 422
    assert "say in the remark why it is not" in refused.content.decode()
    data = io.BytesIO()
    Image.new("RGB", (30, 20), "orange").save(data, "PNG")
    sent[f"{name}-remark"] = "weeps at one corner, sealed again"
    sent[f"{name}-photo"] = SimpleUploadedFile("p.png", data.getvalue())
    page = technician.post(address, sent, follow=True).content.decode()
    step.refresh_from_db()
    assert [row["within"] for row in step.results] == [True, False]
    assert "weeps at one corner" in page
    assert technician.get(f"/step-photos/{step.pk}/")["Content-Type"] == "image/jpeg"


def test_a_step_signed_before_the_one_above_it_does_not_spoil_the_week(
    take, technician, shop_site, now
):
    pour = take("T-1")
    step = pour.steps.get(name=SMOOTH)
    sign_step(step=step, at=now - timedelta(hours=1), now=now, took_min=15)
    wish = plans.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    plan = plans.solve(plan_id=wish.pk, now=now)
    assert (plan.violations, plan.plan["unplaced"]) == ([], [])
