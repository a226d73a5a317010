"""Addresses of the planning side's pages."""

from __future__ import annotations

from datetime import date

from django.urls import path, register_converter

from planning.batch_sheets import pages as batch_sheets
from planning.checklist import pages as checklist
from planning.cures import oven_pages
from planning.cures import pages as cures
from planning.deliveries import pages as deliveries
from planning.files import document_pages
from planning.files import pages as files
from planning.founding import pages as founding
from planning.pours import order_pages as orders
from planning.pours import pages as pours
from planning.pours import route_pages as routes
from planning.replacements import pages as replacement_pages
from planning.rules import pages as rules_pages
from planning.schedule import comparison_pages, reasons_pages
from planning.schedule import pages as schedule
from planning.shop_changes import pages as shop_changes
from planning.today import pages as today
from planning.trials import pages as trial_pages
from planning.weigh_in import pages as weigh_in


class DayConverter:
    """A day in an address: 2026-11-30; one that does not exist matches nothing."""

    regex = r"[0-9]{4}-[0-9]{2}-[0-9]{2}"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(value)

    def to_url(self, value: date) -> str:
        return f"{value:%Y-%m-%d}"


register_converter(DayConverter, "day")

urlpatterns = [
    path("", today.first, name="first"),
    path("start/", founding.start, name="start"),
    path("setup/", checklist.setup, name="setup"),
    path("files/", files.files, name="files"),
    path("documents/", document_pages.documents, name="documents"),
    path("files/<slug:what>.<slug:form>", files.shop_file, name="shop-file"),
    path("today/", today.today, name="today"),
    path("steps/<int:pk>/sign/", today.sign_step, name="step-sign"),
    path("steps/<int:pk>/waive/", today.waive_step, name="step-waive"),
    path("steps/<int:pk>/minutes/", today.note_minutes, name="step-minutes"),
    path("reminders/<int:pk>/take-up/", today.take_up, name="reminder-take-up"),
    path("notices/<int:pk>/away/", today.put_away, name="notice-away"),
    path("sheets/<day:day>/", batch_sheets.sheet, name="sheet"),
    path("sheets/<day:day>.pdf", batch_sheets.sheet_pdf, name="sheet-pdf"),
    path("changes/", shop_changes.changes, name="shop-changes"),
    path("changes/back/", shop_changes.take_back, name="shop-change-back"),
    path("changes/mend/", shop_changes.mend, name="shop-change-mend"),
    path("changes/<slug:kind>/", shop_changes.enter, name="shop-change"),
    path("week/", schedule.this_week, name="week"),
    path("week/rules/", rules_pages.planning_rules, name="planning-rules"),
    path("week/<str:week>/", schedule.week, name="week-of"),
    path("week/<str:week>/ask/", schedule.ask, name="plan-ask"),
    path("plans/<int:pk>/what-if/", trial_pages.what_if, name="what-if"),
    path("what-if/<int:pk>/", trial_pages.what_if_answers, name="what-if-answers"),
    path("plans/<int:pk>/progress/", schedule.progress, name="plan-progress"),
    path("plans/<int:pk>/compare/", comparison_pages.compare, name="plan-compare"),
    path("plans/<int:pk>/reasons/", reasons_pages.reasons, name="plan-reasons"),
    path("plans/<int:pk>/stop/", schedule.stop, name="plan-stop"),
    path("plans/<int:pk>/confirm/", schedule.confirm, name="plan-confirm"),
    path("alarms.json", weigh_in.site_alarms, name="alarms"),
    path("batches/<int:pk>/", weigh_in.batch, name="batch"),
    path("batches/<int:pk>/state.json", weigh_in.batch_state, name="batch-state"),
    path("batches/<int:pk>/mark.json", weigh_in.batch_mark, name="batch-mark"),
    path("batches/<int:pk>/scale.json", weigh_in.scale, name="batch-scale"),
    path("batches/<int:pk>/new-plan/", weigh_in.ask_plan, name="batch-new-plan"),
    path("batches/<int:pk>/from-paper/", weigh_in.enter_paper, name="batch-from-paper"),
    path("batches/<int:pk>/photo/", weigh_in.add_photo, name="batch-photo-add"),
    path("batch-photos/<int:pk>/", weigh_in.photo, name="batch-photo"),
    path("keeper.js", weigh_in.keeper, name="keeper"),
    path("quarantines/<int:pk>/release/", weigh_in.release_quarantine, name="quarantine-release"),
    path("orders/", pours.orders, name="orders"),
    path("orders/new/", pours.new_order, name="order-new"),
    path("orders/file/", pours.load_file, name="orders-file"),
    path("orders/<int:pk>/", orders.order, name="order"),
    path("orders/<int:pk>/change/", orders.change_order, name="order-change"),
    path("orders/<int:pk>/cancel/", orders.cancel_order, name="order-cancel"),
    path("orders/<int:pk>/hold/", orders.hold_order, name="order-hold"),
    path("orders/<int:pk>/release/", orders.release_order, name="order-release"),
    path("orders/<int:pk>/quantity/", orders.set_quantity, name="order-quantity"),
    path("deliveries/", deliveries.deliveries, name="deliveries"),
    path("deliveries/new/", deliveries.new_delivery, name="delivery-new"),
    path("deliveries/<int:pk>/", deliveries.delivery, name="delivery"),
    path("deliveries/<int:pk>/paper/", deliveries.paper, name="delivery-paper"),
    path("deliveries/<int:pk>/back/", deliveries.take_back, name="delivery-back"),
    path("pours/<int:pk>/change/", orders.change_pour, name="pour-change"),
    path("replacements/", replacement_pages.replacements, name="replacements"),
    path("replacements/decide/", replacement_pages.decide, name="replacement-decide"),
    path("pours/<int:pk>/", cures.pour, name="pour"),
    path("pours/<int:pk>/temperature/", cures.log_temperature, name="pour-temperature"),
    path(
        "pours/<int:pk>/temperature/<int:reading>/wrong/",
        cures.mark_wrong,
        name="pour-temperature-wrong",
    ),
    path("pours/<int:pk>/oven/", oven_pages.into_oven, name="pour-oven"),
    path("pours/<int:pk>/oven/<int:stay>/out/", oven_pages.out_of_oven, name="pour-oven-out"),
    path("pours/<int:pk>/oven/<int:stay>/wrong/", oven_pages.stay_wrong, name="pour-oven-wrong"),
    path("pours/<int:pk>/lifts/<int:number>/peak/", cures.peak, name="pour-peak"),
    path("pours/<int:pk>/new-plan/", cures.ask_plan, name="pour-new-plan"),
    path("pours/<int:pk>/as-poured/", cures.end_as_poured, name="pour-as-poured"),
    path("pours/<int:pk>/lower/", cures.leave_lower, name="pour-lower"),
    path("pours/<int:pk>/demould/", cures.demould, name="pour-demould"),
    path("demould-photos/<int:pk>/", cures.demould_photo, name="demould-photo"),
    path("pour-steps/<int:pk>/sign/", cures.sign, name="pour-step-sign"),
    path("step-photos/<int:pk>/", cures.step_photo, name="step-photo"),
    path("routes/", routes.routes, name="routes"),
    path("routes/<str:code>/", routes.route, name="route"),
]
