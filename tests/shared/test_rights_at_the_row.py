"""
What somebody may do at one site opens nothing at another: rows, and rows that rows link to.

Two shops stand side by side. Every address that names a row, and every link of every body, is
tried by every pair of roles that one person can have at the two.
"""

import json
from typing import Any

import pytest
from django.apps import apps
from django.db import transaction
from django.urls import resolve
from rest_framework.exceptions import ValidationError
from rest_framework.test import APIRequestFactory

from planning.reminders.models import ChannelChoice
from shared.access.models import User
from shared.access.ownership import site_id_of, site_path_of
from shared.api import fields
from tests.callers import Caller
from tests.shared.role_table import FOR_ALL, TABLE
from tests.shared.test_roles_matrix import FOUND, OPEN
from tests.shared.two_shops import HELD, held

pytestmark = pytest.mark.django_db

OWNED = {
    "shared.Site": "pk",
    "shared.Membership": "site",
    "shared.UnplacedEvent": "event__site",
    "shared.HookDelivery": "endpoint__site",
    "shared.HookAttempt": "endpoint__site",
    "shop.Container": "lot__site",
    "shop.Placement": "location__site",
    "shop.CountLine": "count__site",
    "shop.Reservation": "container__lot__site",
    "shop.PurchaseOrderLine": "order__site",
    "shop.OrderMail": "order__site",
    "shop.RecalledLot": "recall__site",
    "shop.Shift": "person__site",
    "shop.DayChange": "person__site",
    "shop.StorageSpell": "location__site",
    "shop.ToolHalf": "tool__site",
    "shop.ToolEvent": "tool__site",
    "shop.ToolFinding": "checkpoint__site",
    "shop.ConsignmentLine": "consignment__site",
    "shop.WasteWithdrawal": "entry__site",
    "shop.ReceiptTerms": "movement__site",
    "shop.RepairLot": "movement__site",
    "planning.ReplacementDecision": "tool__site",
    "planning.Cure": "lift__pour__order__site",
    "planning.Demould": "pour__order__site",
    "planning.OvenStay": "pour__order__site",
    "planning.Pour": "order__site",
    "planning.PourStep": "pour__order__site",
    "planning.PourStepMaterial": "step__pour__order__site",
    "planning.DeliveryItem": "delivery__site",
    "planning.DeliveryLine": "note__site",
    "planning.Lift": "pour__order__site",
    "planning.BatchPortion": "batch__site",
    "planning.BatchLine": "batch__site",
    "planning.PlanTrial": "plan__site",
    "planning.Weighing": "line__batch__site",
    "planning.BatchEntry": "batch__site",
    "planning.WrongReading": "reading__site",
    "planning.WeighingAmendment": "weighing__line__batch__site",
    "planning.GateRecord": "entry__batch__site",
    "planning.CastingQuarantine": "pour__order__site",
    "shop.UsedReservation": "movement__site",
}
"""Rows that reach their site over another row."""
OF_NO_SITE = {
    "shared.User", "shared.CompanyMembership", "shared.AccessToken", "shared.IdempotencyKey",
    "shared.AuditEntry", "shared.FeedEnd", "shared.MailServer", "shop.Supplier",
    "shared.SecondStep", "shared.SpareCode", "shared.SignedIn", "shared.AskedPassword",
    "shop.SupplierClosure", "shop.Material", "shop.Pack", "shop.LearnedCode",
    "shop.ResinSystem", "shop.SystemComponent", "shop.ReleaseRecipe", "shop.ReleaseClash",
    "planning.Route", "planning.RouteStep",
    "planning.RouteStepMaterial",
    "planning.ReminderSettings", "planning.Heartbeat",
    "shop.CatalogueChange", "shop.CatalogueRules",
}  # fmt: skip


def test_every_table_says_which_site_its_rows_belong_to():
    for app in ("shared", "shop", "planning"):
        for model in apps.get_app_config(app).get_models():
            label = model._meta.label
            expected = None if label in OF_NO_SITE else OWNED.get(label, "site")
            assert site_path_of(model) == expected, label


def view_of(method: str, template: str) -> Any:
    """Return the view of an address as a call of this method finds it."""
    path = next(path for m, t, path in FOUND if (m, t) == (method, template))
    match = resolve(path)
    kind = getattr(match.func, "cls", None) or match.func.view_class
    view = kind(**getattr(match.func, "initkwargs", {}))
    view.action_map = getattr(match.func, "actions", {}) or {}
    view.action = view.action_map.get(method.lower())
    view.args, view.kwargs, view.format_kwarg = (), match.kwargs, None
    view.request = APIRequestFactory().generic(method, path, b"{}", "application/json")
    view.request = view.initialize_request(view.request)
    return view


def links_in(serializer: Any, before: tuple = ()) -> list[tuple[tuple, Any]]:
    """Return the way to each link to a row of a site that a body can carry."""
    found: list[tuple[tuple, Any]] = []
    for name, one in serializer.fields.items():
        if one.read_only:
            continue
        many = hasattr(one, "child")
        inner = one.child if many else one
        way = (*before, name, 0) if many else (*before, name)
        if hasattr(inner, "fields"):
            found += links_in(inner, way)
        elif isinstance(inner, fields.RelatedIdField):
            rows = apps.get_model(inner.model) if inner.model else inner.queryset.model
            if site_path_of(rows):
                found.append((way, rows))
    return found


def _links() -> list[tuple[str, str, tuple, Any]]:
    found = []
    for method, template, _ in FOUND:
        if method not in ("POST", "PATCH") or (method, template) in OPEN:
            continue
        form = getattr(view_of(method, template), "get_serializer", lambda: None)()
        if form is not None:
            found += [(method, template, way, rows) for way, rows in links_in(form)]
    return found


LINKS = _links()


def test_the_links_are_found():
    """Those that opened other sites once are among them, and none can be lost unseen."""
    named = {(template.removeprefix("/api/v1/"), way[-1]) for _, template, way, _ in LINKS}
    assert named >= {
        ("temperatures", "pour"), ("temperatures/bulk", "pour"), ("demouldings", "pour"),
        ("oven-stays", "pour"),
        ("shifts", "person"), ("day-changes", "person"), ("plan-trials", "plan"),
        ("tools", "replaces"), ("tools", "location"), ("tools/{}", "location"),
        ("storage-spells", "location"), ("movements", "container"), ("recalls", "lot"),
        ("counts/{}/figures", "container"), ("patterns/{}/uses", "pour"),
    }  # fmt: skip
    assert len(LINKS) >= 25


def send(client: Caller, method: str, path: str, body: Any) -> Any:
    """Send a body and leave nothing behind."""
    kind = "application/merge-patch+json" if method == "PATCH" else "application/json"
    headers = {"Idempotency-Key": "rights-at-the-row-key", "If-Match": "*"}
    data = b"" if method in ("GET", "DELETE") else json.dumps(body).encode()
    with transaction.atomic():
        answer = client.generic(method, path, data, kind, headers=headers)
        transaction.set_rollback(True)
    return answer


def unknown(answer: Any, way: tuple) -> bool:
    """Tell whether a call was refused because its link names nothing that the caller knows."""
    pointer = "#/" + "/".join(str(part) for part in way)
    found = {(e.get("pointer"), e.get("code")) for e in answer.json().get("errors", ())}
    return (pointer, "does_not_exist") in found


@pytest.mark.parametrize(
    ("method", "template", "way", "model"),
    LINKS,
    ids=[f"{m}-{t[8:]}-{'.'.join(map(str, w))}" for m, t, w, _ in LINKS],
)
def test_a_link_is_known_only_with_the_very_scope_at_its_own_site(
    shops, method, template, way, model
):
    scope, wrong = TABLE[method, template], {}
    at_a_row = "{}" in template
    path = template
    if at_a_row:
        rows = view_of(method, template).queryset.model
        address = shops.row(rows, shops.here)
        assert address is not None, f"no {rows.__name__} to try {template} with"
        path = template.format(address.pk)
    for place in (shops.here, shops.there):
        linked = shops.row(model, place)
        assert linked is not None, f"no {model.__name__} at {place}"
        body: Any = str(linked.pk)
        for part in reversed(way):
            body = [body] if part == 0 else {part: body}
        for here in HELD:
            for there in HELD:
                here_may, there_may = held(here, there), held(there, here)
                answer = send(shops.client(here, there), method, path, body)
                may = scope in (here_may if place == shops.here else there_may)
                if scope not in here_may | there_may:
                    right = answer.status_code == 403
                elif at_a_row and scope not in here_may:
                    right = answer.status_code == 404
                elif at_a_row and place == shops.there:
                    right = answer.status_code == 422 and unknown(answer, way)
                else:
                    right = answer.status_code < 500 and unknown(answer, way) != may
                if not right:
                    wrong[here, there, place.code] = answer.status_code
    assert wrong == {}


ROWS = [
    (method, template)
    for method, template, _ in FOUND
    if "{}" in template and (method, template) not in OPEN
]


PERSONAL_ACTS = {("POST", "/api/v1/steps/{}/waivers")}
"""What no program may do, although other acts of the same scope are open to it."""


@pytest.mark.parametrize(("method", "template"), ROWS, ids=[f"{m}-{t[8:]}" for m, t in ROWS])
def test_a_row_opens_only_with_the_very_scope_at_its_own_site(shops, method, template):
    """Every role at the row's site, with every role at the other one."""
    view = view_of(method, template)
    model = view.queryset.model
    if site_path_of(model) is None or view.lookup_field != "pk":
        assert model._meta.label in OF_NO_SITE or view.lookup_field == "day"
        return
    row = shops.row(model, shops.here)
    if model is ChannelChoice:
        assert row is None, "choices belong to a person, and nobody sees those of others"
        return
    assert row is not None, f"no {model.__name__} to try {template} with"
    scope, wrong = TABLE[method, template], {}
    parts = [str(row.pk), "1" if "photos" in template else "above"]
    path = template.format(*parts)
    for here in HELD:
        for there in HELD:
            here_may, there_may = held(here, there), held(there, here)
            status = send(shops.client(here, there), method, path, {}).status_code
            personal = (method, template) in PERSONAL_ACTS and "integration" in (here, there)
            if personal or scope not in here_may | there_may:
                right = status == 403
            elif scope not in here_may:
                right = status == 404
            else:
                right = status not in (401, 403) and status < 500
            if not right:
                wrong[here, there] = status
    assert wrong == {}


FORMS = sorted({(m, t) for m, t, way, _ in LINKS if "{}" not in t and 0 not in way})


@pytest.mark.parametrize(("method", "template"), FORMS, ids=[f"{m}-{t[8:]}" for m, t in FORMS])
def test_one_body_names_rows_of_one_site(shops, method, template):
    """Somebody who runs both shops mixes them up by mistake."""
    boss = User.objects.get(username="administrator-administrator")
    view = view_of(method, template)
    view.request.user = boss
    names = [way[0] for way, _ in links_in(view.get_serializer()) if len(way) == 1]
    site = view.get_serializer().fields.get("site")
    if site is not None and not site.read_only:
        names.append("site")
    for first in names:
        for second in names:
            if first >= second:
                continue
            form = view.get_serializer()
            for name in set(form.fields) - {first, second}:
                form.fields.pop(name)
            asked = {}
            for name, place in ((first, shops.here), (second, shops.there)):
                asked[name] = place.code
                if name != "site":
                    asked[name] = str(shops.row(form.fields[name].get_queryset().model, place).pk)
            with pytest.raises(ValidationError) as refused:
                form.to_internal_value(asked)
            codes = {error.code for found in refused.value.detail.values() for error in found}
            assert codes == {"other_site"}, (first, second)


def test_a_row_stays_at_its_site(shops):
    for model, address in (("shop.Mixer", "mixers"), ("shop.Tool", "tools")):
        row = shops.row(apps.get_model(model), shops.here)
        answer = send(
            shops.client("administrator", "administrator"),
            "PATCH", f"/api/v1/{address}/{row.pk}", {"site": "north"},
        )  # fmt: skip
        assert answer.status_code == 422, answer.json()
        assert answer.json()["errors"][0]["pointer"] == "#/site"
        row.refresh_from_db()
        assert site_id_of(row) == shops.here.pk


def test_what_belongs_to_all_sites_is_changed_by_a_right_for_all_of_them():
    """Whatever changes a row of no site is in the table, or stands here with its reason."""
    at_each = "asked at each site that the token opens"
    own = {
        "reminder-settings/{}": "one's own quiet hours",
        "learned-codes": "goods in may learn",
        "access-tokens": at_each,
        "access-tokens/{}": at_each,
        "access-tokens/{}/rotations": at_each,
        "access-tokens/{}/revocations": at_each,
    }
    changes = set()
    for method, template in TABLE:
        model = getattr(getattr(view_of(method, template), "queryset", None), "model", None)
        if method != "GET" and model is not None and site_path_of(model) is None:
            changes.add((method, template))
    asked = {(m, t) for m, t in changes if t.removeprefix("/api/v1/") not in own or m == "DELETE"}
    assert FOR_ALL - asked == {("POST", "/api/v1/sites")}
    assert asked - FOR_ALL == set()
