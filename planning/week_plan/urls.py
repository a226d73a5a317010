"""Addresses of trials, planning rules and reasons, taken up by the app's `urls.py`."""

from __future__ import annotations

from django.urls import path

from planning.week_plan import reasons_pages, rules_views, trial_views
from shared.api.router import Router

router = Router()
router.register("plan-trials", trial_views.TrialViewSet, "plan-trial")
router.register("planning-rules", rules_views.RulesViewSet, "planning-rules")

api_urlpatterns = list(router.urls)
urlpatterns = [
    path("plans/<int:pk>/reasons/", reasons_pages.reasons, name="plan-reasons"),
]
