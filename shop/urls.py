"""Addresses of the shop app: `api_urlpatterns` below /api/v1/, `urlpatterns` for pages."""

from typing import Any

from shared.api.router import Router
from shop.materials import views as materials
from shop.release_agents import views as release_agents
from shop.sites import views as sites

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
}.items():
    router.register(name, viewset)

api_urlpatterns: list[Any] = [*router.urls]
urlpatterns: list[Any] = []
