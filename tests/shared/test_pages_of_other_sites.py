"""Pages open a row only to who may do what the page does at the row's own site."""

from collections.abc import Iterator

import pytest
from django.apps import apps
from django.contrib.auth import get_user_model
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from shared.api.roles import PERSONAL
from tests.shared.two_shops import HELD

pytestmark = pytest.mark.django_db

ROW_OF = {
    "step-sign": "planning.PourStep", "step-minutes": "planning.PourStep",
    "step-waive": "planning.PourStep",
    "webhook": "shared.Endpoint", "webhook-button": "shared.Endpoint",
    "reminder-take-up": "planning.Reminder",
    "send-again": "planning.Delivery",
    "what-if": "planning.WeekPlan", "what-if-answers": "planning.PlanTrial",
    "plan-progress": "planning.WeekPlan", "plan-compare": "planning.WeekPlan",
    "plan-reasons": "planning.WeekPlan", "plan-stop": "planning.WeekPlan",
    "plan-confirm": "planning.WeekPlan", "batch": "planning.Batch",
    "batch-state": "planning.Batch", "batch-scale": "planning.Batch",
    "batch-new-plan": "planning.Batch", "batch-photo-add": "planning.Batch",
    "batch-from-paper": "planning.Batch", "batch-mark": "planning.Batch",
    "quarantine-release": "planning.CastingQuarantine",
    "pour-temperature-wrong": "planning.Pour",
    "setup-change": "shop.Mixer", "setup-archive": "shop.Mixer",
    "batch-photo": "planning.BatchEntry", "order-cancel": "planning.ToolOrder",
    "order": "planning.ToolOrder", "order-change": "planning.ToolOrder",
    "order-hold": "planning.ToolOrder", "order-release": "planning.ToolOrder",
    "order-quantity": "planning.ToolOrder", "pour-change": "planning.Pour",
    "pour": "planning.Pour", "pour-temperature": "planning.Pour",
    "pour-peak": "planning.Pour", "pour-new-plan": "planning.Pour",
    "pour-lower": "planning.Pour", "pour-as-poured": "planning.Pour", "pour-oven": "planning.Pour",
    "pour-oven-out": "planning.Pour", "pour-oven-wrong": "planning.Pour",
    "pour-demould": "planning.Pour",
    "delivery": "planning.DeliveryNote", "delivery-paper": "planning.DeliveryNote",
    "delivery-back": "planning.DeliveryNote",
    "demould-photo": "planning.Demould", "pour-step-sign": "planning.PourStep",
    "step-photo": "planning.PourStep", "container": "shop.Container", "lot": "shop.Lot",
    "lot-certificate": "shop.Lot", "lot-button": "shop.Lot", "count": "shop.CycleCount",
    "count-button": "shop.CycleCount", "tool": "shop.Tool", "tool-event": "shop.Tool",
    "tool-limits": "shop.Tool", "tool-event-correct": "shop.Tool",
    "tool-event-withdraw": "shop.Tool", "tool-inspect": "shop.Tool", "tool-repair": "shop.Tool",
    "tool-dimensions": "shop.Tool", "waste-withdraw": "shop.WasteEntry",
    "consignment": "shop.Consignment", "consignment-back": "shop.Consignment",
    "arrival": "shop.Arrival", "arrival-receive": "shop.Arrival",
    "tool-family": "shop.ToolFamily",
    "tool-family-change": "shop.ToolFamily", "purchase-order": "shop.PurchaseOrder",
    "purchase-order-pdf": "shop.PurchaseOrder", "purchase-order-button": "shop.PurchaseOrder",
}  # fmt: skip
"""The row that a page's address names."""
OF_ALL_SITES = {
    "outlook-material", "outlook-material-file", "supplier-terms", "pack-add", "pack-remove",
    "supplier-close", "supplier-open", "catalogue-decide",
}  # fmt: skip
"""Pages of materials and suppliers."""
OF_ONESELF = {"notice-away"}
"""Notices on one's own page; those of others are left as they are."""
OF_PEOPLE = {
    "person", "set-company-roles", "set-password", "issue-token", "revoke-token",
    "person-sign-in", "person-leaves",
}  # fmt: skip
"""Pages of people who sign in; `test_access.py` and `test_sign_in.py` ask who may see whom."""
PARTS = {"button": "hold", "number": 1, "form": "csv", "view": "above", "token_pk": 1,
         "slug": "mixers", "reading": 1, "stay": 1, "event": 1, "what": "pause"}  # fmt: skip


def named(patterns: list) -> Iterator[tuple[str, object, set[str]]]:
    """Yield the name, the page and the parts of every address outside the API."""
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            if not str(pattern.pattern).startswith(("api/", "admin/")):
                yield from named(pattern.url_patterns)
        elif isinstance(pattern, URLPattern) and "pk" in pattern.pattern.converters:
            yield pattern.name, pattern.callback, set(pattern.pattern.converters)


PAGES = {name: (page, parts) for name, page, parts in named(get_resolver().url_patterns)}


def test_every_page_of_a_row_is_named_here():
    kept = {name for name in PAGES if name.startswith("pattern")}
    assert set(PAGES) - kept == (set(ROW_OF) | OF_ALL_SITES | OF_PEOPLE | OF_ONESELF) - kept


def row_of(name: str) -> str:
    return "planning.PatternMesh" if name.startswith("pattern") else ROW_OF[name]


@pytest.mark.parametrize("name", sorted(set(PAGES) - OF_ALL_SITES - OF_PEOPLE - OF_ONESELF))
def test_a_page_opens_a_row_only_with_its_scope_there(shops, name):
    """Whoever runs the other shop still sees nothing of this one beyond their role here."""
    page, parts = PAGES[name]
    row = shops.row(apps.get_model(row_of(name)), shops.here)
    assert row is not None, name
    path = reverse(name, kwargs={"pk": row.pk, **{p: PARTS[p] for p in parts - {"pk"}}})
    wrong = {}
    for here, may in HELD.items():
        client = Client(raise_request_exception=True)
        client.force_login(
            get_user_model().objects.get(username=f"{here}-administrator"),
            backend="django.contrib.auth.backends.ModelBackend",
        )
        for method in ("get", "post"):
            with transaction.atomic():
                status = getattr(client, method)(path).status_code
                transaction.set_rollback(True)
            # A program has no judgement at either shop, so it is refused before the row is sought.
            refused = (403,) if here == "integration" and page.scope in PERSONAL else ()
            if page.scope not in may and status not in (404, 405, *refused):
                wrong[here, method] = status
    assert wrong == {}, page.scope
