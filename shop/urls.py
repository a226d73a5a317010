"""Addresses of the shop app: `api_urlpatterns` below /api/v1/, `urlpatterns` for pages."""

from typing import Any

from django.urls import path

from shared.api.router import Router
from shop.costs import pages as cost_pages
from shop.costs.views import CastingCostView, LossView
from shop.ledger import views as ledger
from shop.lots import views as lots
from shop.materials import views as materials
from shop.outlook import pages as outlook_pages
from shop.outlook.views import OutlookView
from shop.proposals import pages as buying
from shop.proposals.views import ProposalViewSet
from shop.purchasing import pages as orders
from shop.purchasing.views import PurchaseOrderViewSet
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
    "purchase-proposals": ProposalViewSet,
    "purchase-orders": PurchaseOrderViewSet,
}.items():
    router.register(name, viewset, basename=name)

api_urlpatterns: list[Any] = [
    *router.urls,
    path("receipts", ledger.ReceiptView.as_view(), name="receipts"),
    path("scans", ledger.ScanView.as_view(), name="scans"),
    path("stock", ledger.StockView.as_view(), name="stock-levels"),
    path("outlook", OutlookView.as_view(), name="api-outlook"),
    path("casting-costs", CastingCostView.as_view(), name="api-casting-costs"),
    path("losses", LossView.as_view(), name="api-losses"),
]
urlpatterns: list[Any] = [
    path("outlook/", outlook_pages.outlook, name="outlook"),
    path("outlook/table.<slug:form>", outlook_pages.outlook_file, name="outlook-file"),
    path("outlook/<int:pk>/", outlook_pages.material, name="outlook-material"),
    path(
        "outlook/<int:pk>/table.<slug:form>",
        outlook_pages.material_file,
        name="outlook-material-file",
    ),
    path("buying/", buying.buying, name="buying"),
    path("buying/work-out/", buying.work_out, name="buying-work-out"),
    path("buying/decide/", buying.decide, name="buying-decide"),
    path("buying/costs/", cost_pages.costs, name="costs"),
    path("buying/orders/", orders.orders, name="purchase-orders"),
    path("buying/orders/<int:pk>/", orders.order, name="purchase-order"),
    path("buying/orders/<int:pk>/order.pdf", orders.order_pdf, name="purchase-order-pdf"),
    path("buying/orders/<int:pk>/<slug:deed>/", orders.deed, name="purchase-order-deed"),
]
