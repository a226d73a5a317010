"""Addresses of the shop app: `api_urlpatterns` below /api/v1/, `urlpatterns` for pages."""

from typing import Any

from django.urls import path

from shared.api.router import Router
from shop.ledger import views as ledger
from shop.lots import views as lots
from shop.materials import views as materials
from shop.release_agents import views as release_agents
from shop.sites import views as sites
from shop.tools import views as tools

router = Router()
for name, viewset in {
    "people": sites.PersonViewSet,
    "shifts": sites.ShiftViewSet,
    "day-changes": sites.DayChangeViewSet,
    "closed-days": sites.ClosedDayViewSet,
    "expected-temperatures": sites.ExpectedTemperatureViewSet,
    "mixers": sites.MixerViewSet,
    "scales": sites.ScaleViewSet,
    "places": sites.PlaceViewSet,
    "locations": sites.LocationViewSet,
    "storage-spells": sites.StorageSpellViewSet,
    "suppliers": materials.SupplierViewSet,
    "materials": materials.MaterialViewSet,
    "packs": materials.PackViewSet,
    "learned-codes": materials.LearnedCodeViewSet,
    "resin-systems": materials.ResinSystemViewSet,
    "release-recipes": release_agents.ReleaseRecipeViewSet,
    "lots": lots.LotViewSet,
    "containers": lots.ContainerViewSet,
    "movements": ledger.MovementViewSet,
    "splits": ledger.SplitViewSet,
    "reservations": ledger.ReservationViewSet,
    "requirements": ledger.RequirementViewSet,
    "tools": tools.ToolViewSet,
    "tool-events": tools.ToolEventViewSet,
}.items():
    router.register(name, viewset, basename=name)

api_urlpatterns: list[Any] = [
    *router.urls,
    path("receipts", ledger.ReceiptView.as_view(), name="receipts"),
    path("scans", ledger.ScanView.as_view(), name="scans"),
    path("stock", ledger.StockView.as_view(), name="stock-levels"),
]
urlpatterns: list[Any] = []
