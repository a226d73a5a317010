"""Addresses of the planning app: `api_urlpatterns` below /api/v1/, `urlpatterns` for pages."""

from typing import Any

from django.urls import path

from planning import page_urls
from planning.batch_sheets.views import SheetViewSet
from planning.cures.views import (
    CureViewSet,
    DemouldViewSet,
    OvenStayViewSet,
    TemperatureViewSet,
)
from planning.deliveries.views import DeliveryNoteViewSet
from planning.files.views import ShopFileReadingView, ShopFileSheetsView, ShopFileView
from planning.patterns import urls as patterns
from planning.pours.views import PourViewSet, StepViewSet, ToolOrderViewSet
from planning.reminders import urls as reminders
from planning.replacements.views import ReplacementViewSet
from planning.routes.views import RouteViewSet
from planning.rules.views import RulesViewSet
from planning.schedule.views import PlanViewSet
from planning.shop_changes.views import PlanNowView, ShopChangeView
from planning.trials.views import TrialViewSet
from planning.weigh_in.quarantine_api import CastingQuarantineViewSet
from planning.weigh_in.scale_views import ScaleReadingView
from planning.weigh_in.views import BatchViewSet
from planning.workbench import urls as workbench
from shared.api.router import Router

router = Router()
router.register("routes", RouteViewSet, "route")
router.register("tool-orders", ToolOrderViewSet, "tool-order")
router.register("pours", PourViewSet, "pour")
router.register("steps", StepViewSet, "step")
router.register("replacements", ReplacementViewSet, "replacement")
router.register("plans", PlanViewSet, "plan")
router.register("plan-trials", TrialViewSet, "plan-trial")
router.register("planning-rules", RulesViewSet, "planning-rules")
router.register("batches", BatchViewSet, "batch")
router.register("sheets", SheetViewSet, "sheet")
router.register("cures", CureViewSet, "cure")
router.register("temperatures", TemperatureViewSet, "temperature")
router.register("oven-stays", OvenStayViewSet, "oven-stay")
router.register("demouldings", DemouldViewSet, "demoulding")
router.register("delivery-notes", DeliveryNoteViewSet, "delivery-note")
router.register("casting-quarantines", CastingQuarantineViewSet, "casting-quarantine")

api_urlpatterns: list[Any] = [
    *router.urls,
    path("scale-readings", ScaleReadingView.as_view(), name="scale-readings"),
    path("shop-changes", ShopChangeView.as_view(), name="api-shop-changes"),
    path("shop-files", ShopFileView.as_view(), name="api-shop-file"),
    path("shop-files/readings", ShopFileReadingView.as_view(), name="api-shop-file-readings"),
    path("shop-files/sheets", ShopFileSheetsView.as_view(), name="api-shop-file-sheets"),
    path("plan-check", PlanNowView.as_view(), name="api-plan-check"),
    *reminders.api_urlpatterns,
    *workbench.api_urlpatterns,
    *patterns.api_urlpatterns,
]
urlpatterns: list[Any] = [
    *page_urls.urlpatterns,
    *reminders.urlpatterns,
    *workbench.urlpatterns,
    *patterns.urlpatterns,
]
