"""Addresses of the shop app: `api_urlpatterns` below /api/v1/, `urlpatterns` for pages."""

from typing import Any

from django.urls import path

from shared.api.router import Router
from shop.buyer import pages as buyer_pages
from shop.buyer.views import BuyerFiguresView
from shop.catalogue import pages as catalogue
from shop.catalogue.views import CatalogueChangeViewSet, CatalogueRulesViewSet
from shop.consignments import pages as consignment_pages
from shop.consignments.views import ArrivalViewSet, ConsignmentViewSet
from shop.costs import pages as cost_pages
from shop.costs.views import CastingCostView, LossView
from shop.counting import pages as counting_pages
from shop.counting.views import CycleCountViewSet
from shop.labels import pages as label_pages
from shop.ledger import pages as stock_pages
from shop.ledger import past_pages
from shop.ledger import views as ledger
from shop.lots import views as lots
from shop.materials import supplier_pages as suppliers
from shop.materials import views as materials
from shop.outlook import pages as outlook_pages
from shop.outlook.views import OutlookMonthsView, OutlookView
from shop.proposals import pages as buying
from shop.proposals.views import ProposalViewSet
from shop.purchasing import goods_pages
from shop.purchasing import pages as orders
from shop.purchasing.views import PurchaseOrderViewSet
from shop.recalls.views import RecallViewSet
from shop.release_agents import views as release_agents
from shop.setup import pages as setup
from shop.setup.holiday_pages import public_holidays
from shop.sites import views as sites
from shop.tools import family_pages
from shop.tools import inspection_pages as inspections
from shop.tools import pages as tool_pages
from shop.tools import views as tools
from shop.trace import pages as trace_pages
from shop.trace import views as trace
from shop.waste import pages as waste_pages
from shop.waste.views import WasteEntryViewSet, WasteRecordView

router = Router()
for name, viewset in {
    "people": sites.PersonViewSet,
    "shifts": sites.ShiftViewSet,
    "day-changes": sites.DayChangeViewSet,
    "closed-days": sites.ClosedDayViewSet,
    "expected-temperatures": sites.ExpectedTemperatureViewSet,
    "outages": sites.OutageViewSet,
    "mixers": sites.MixerViewSet,
    "scales": sites.ScaleViewSet,
    "places": sites.PlaceViewSet,
    "locations": sites.LocationViewSet,
    "storage-spells": sites.StorageSpellViewSet,
    "suppliers": materials.SupplierViewSet,
    "supplier-closures": materials.SupplierClosureViewSet,
    "materials": materials.MaterialViewSet,
    "packs": materials.PackViewSet,
    "learned-codes": materials.LearnedCodeViewSet,
    "resin-systems": materials.ResinSystemViewSet,
    "system-components": materials.SystemComponentViewSet,
    "catalogue-changes": CatalogueChangeViewSet,
    "catalogue-rules": CatalogueRulesViewSet,
    "release-recipes": release_agents.ReleaseRecipeViewSet,
    "release-clashes": release_agents.ReleaseClashViewSet,
    "lots": lots.LotViewSet,
    "containers": lots.ContainerViewSet,
    "movements": ledger.MovementViewSet,
    "splits": ledger.SplitViewSet,
    "mixes": ledger.MixViewSet,
    "reservations": ledger.ReservationViewSet,
    "requirements": ledger.RequirementViewSet,
    "tools": tools.ToolViewSet,
    "tool-families": tools.ToolFamilyViewSet,
    "tool-events": tools.ToolEventViewSet,
    "checkpoints": tools.CheckpointViewSet,
    "retirement-reasons": tools.RetirementReasonViewSet,
    "counts": CycleCountViewSet,
    "waste-entries": WasteEntryViewSet,
    "consignments": ConsignmentViewSet,
    "arrivals": ArrivalViewSet,
    "recalls": RecallViewSet,
    "purchase-proposals": ProposalViewSet,
    "purchase-orders": PurchaseOrderViewSet,
}.items():
    router.register(name, viewset, basename=name)

api_urlpatterns: list[Any] = [
    *router.urls,
    path("receipts", ledger.ReceiptView.as_view(), name="receipts"),
    path("scans", ledger.ScanView.as_view(), name="scans"),
    path("stock", ledger.StockView.as_view(), name="stock-levels"),
    path("trace", trace.TraceView.as_view(), name="api-trace"),
    path("outlook/months", OutlookMonthsView.as_view(), name="api-outlook-months"),
    path("outlook", OutlookView.as_view(), name="api-outlook"),
    path("waste-record", WasteRecordView.as_view(), name="api-waste-record"),
    path("buyer-figures", BuyerFiguresView.as_view(), name="api-buyer-figures"),
    path("casting-costs", CastingCostView.as_view(), name="api-casting-costs"),
    path("losses", LossView.as_view(), name="api-losses"),
]
urlpatterns: list[Any] = [
    path("catalogue/changes/", catalogue.changes, name="catalogue-changes"),
    path("catalogue/changes/<int:pk>/", catalogue.decide, name="catalogue-decide"),
    path("catalogue/rules/", catalogue.rules, name="catalogue-rules"),
    path("setup/closed-days/public/", public_holidays, name="public-holidays"),
    path("setup/<slug:slug>/", setup.register, name="setup-register"),
    path("setup/<slug:slug>/enter/", setup.entry, name="setup-add"),
    path("setup/<slug:slug>/<int:pk>/", setup.entry, name="setup-change"),
    path("setup/<slug:slug>/<int:pk>/keep/", setup.archive, name="setup-archive"),
    path("stock/", stock_pages.stock, name="stock"),
    path("stock/past/", past_pages.past, name="stock-past"),
    path("stock/past.<slug:form>", past_pages.past_file, name="stock-past-file"),
    path("stock/find/", stock_pages.find, name="stock-find"),
    path("stock/containers/<int:pk>/", stock_pages.container, name="container"),
    path("stock/lots/", stock_pages.lots, name="lots"),
    path("stock/lots/<int:pk>/", stock_pages.lot, name="lot"),
    path("stock/lots/<int:pk>/certificate/", stock_pages.certificate, name="lot-certificate"),
    path("stock/lots/<int:pk>/<slug:button>/", stock_pages.button, name="lot-button"),
    path("stock/goods-in/", goods_pages.goods_in, name="goods-in"),
    path("stock/goods-in/photo/", goods_pages.photo, name="goods-in-photo"),
    path("stock/goods-in/take/", goods_pages.take_in, name="goods-in-take"),
    path("stock/goods-in/file/", goods_pages.load_file, name="goods-in-file"),
    path("stock/labels/", label_pages.labels, name="labels"),
    path("stock/labels/labels.pdf", label_pages.labels_file, name="labels-file"),
    path("stock/consignments/", consignment_pages.consignments, name="consignments"),
    path("stock/consignments/send/", consignment_pages.send, name="consignment-send"),
    path("stock/consignments/<int:pk>/", consignment_pages.consignment, name="consignment"),
    path(
        "stock/consignments/<int:pk>/back/", consignment_pages.take_back, name="consignment-back"
    ),
    path("stock/arrivals/<int:pk>/", consignment_pages.arrival, name="arrival"),
    path("stock/arrivals/<int:pk>/receive/", consignment_pages.receive, name="arrival-receive"),
    path("stock/waste/", waste_pages.waste, name="waste"),
    path("stock/waste.<slug:form>", waste_pages.waste_file, name="waste-file"),
    path("stock/waste/add/", waste_pages.add, name="waste-add"),
    path("stock/waste/<int:pk>/withdraw/", waste_pages.withdraw, name="waste-withdraw"),
    path("stock/counts/", counting_pages.counts, name="counts"),
    path("stock/counts/start/", counting_pages.start, name="count-start"),
    path("stock/counts/<int:pk>/", counting_pages.count, name="count"),
    path("stock/counts/<int:pk>/<slug:button>/", counting_pages.button, name="count-button"),
    path("tools/", tool_pages.tools, name="tools"),
    path("tools/add/", tool_pages.add, name="tool-add"),
    path("tools/families/", family_pages.families, name="tool-families"),
    path("tools/families/add/", family_pages.add, name="tool-family-add"),
    path("tools/families/<int:pk>/", family_pages.family, name="tool-family"),
    path("tools/families/<int:pk>/change/", family_pages.change_family, name="tool-family-change"),
    path("tools/<int:pk>/", tool_pages.tool, name="tool"),
    path("tools/<int:pk>/events/", tool_pages.event, name="tool-event"),
    path("tools/counter-file/", tool_pages.counter_file, name="tools-counter-file"),
    path("tools/<int:pk>/events/<int:event>/", tool_pages.correct, name="tool-event-correct"),
    path(
        "tools/<int:pk>/events/<int:event>/withdraw/",
        inspections.withdraw_entry,
        name="tool-event-withdraw",
    ),
    path("tools/<int:pk>/inspect/", inspections.inspect, name="tool-inspect"),
    path("tools/<int:pk>/repair/", inspections.repair, name="tool-repair"),
    path("tools/<int:pk>/dimensions/", inspections.dimensions, name="tool-dimensions"),
    path("tools/<int:pk>/limits/", tool_pages.limits, name="tool-limits"),
    path("trace/", trace_pages.trace, name="trace"),
    path("trace/recall/", trace_pages.recall, name="recall"),
    path("outlook/", outlook_pages.outlook, name="outlook"),
    path("outlook/table.<slug:form>", outlook_pages.outlook_file, name="outlook-file"),
    path("outlook/months/", outlook_pages.by_month, name="outlook-months"),
    path("outlook/months.<slug:form>", outlook_pages.months_file, name="outlook-months-file"),
    path("outlook/days.<slug:form>", outlook_pages.days_file, name="outlook-days-file"),
    path("outlook/<int:pk>/", outlook_pages.material, name="outlook-material"),
    path(
        "outlook/<int:pk>/table.<slug:form>",
        outlook_pages.material_file,
        name="outlook-material-file",
    ),
    path("buying/", buying.buying, name="buying"),
    path("buying/work-out/", buying.work_out, name="buying-work-out"),
    path("buying/decide/", buying.decide, name="buying-decide"),
    path("buying/figures/", buyer_pages.figures, name="buyer-figures"),
    path("buying/figures/<slug:figure>/", buyer_pages.figures, name="buyer-figures-of"),
    path(
        "buying/figures/<slug:figure>.<slug:form>",
        buyer_pages.figures_file,
        name="buyer-figures-file",
    ),
    path("buying/costs/", cost_pages.costs, name="costs"),
    path("buying/suppliers/", suppliers.suppliers, name="suppliers"),
    path("buying/suppliers/add/", suppliers.add, name="supplier-add"),
    path("buying/suppliers/<int:pk>/terms/", suppliers.terms, name="supplier-terms"),
    path("buying/suppliers/<int:pk>/packs/", suppliers.add_pack, name="pack-add"),
    path("buying/packs/<int:pk>/remove/", suppliers.remove_pack, name="pack-remove"),
    path("buying/suppliers/<int:pk>/close/", suppliers.close, name="supplier-close"),
    path("buying/suppliers/<int:pk>/open/", suppliers.reopen, name="supplier-open"),
    path("buying/orders/", orders.orders, name="purchase-orders"),
    path("buying/orders/write/", orders.write, name="purchase-order-write"),
    path("buying/orders/<int:pk>/", orders.order, name="purchase-order"),
    path("buying/orders/<int:pk>/order.pdf", orders.order_pdf, name="purchase-order-pdf"),
    path("buying/orders/<int:pk>/<slug:button>/", orders.button, name="purchase-order-button"),
]
