"""
Every address of the API, its methods, and the scope each of them asks for.

Written by hand beside the code on purpose: an address that is missing here, or asks for something
else than stands here, fails the build. `{}` stands for the parts of an address that vary.
"""

from __future__ import annotations

R, W = "read", "write"


def rows(
    noun: str, paths: str, methods: str = "GET POST", **own: str
) -> dict[tuple[str, str], str]:
    """Return the scopes of some addresses that ask alike; `own` names other scopes by method."""
    found = {}
    for path in paths.split():
        for method in methods.split():
            verb = "read" if method == "GET" else "write"
            found[method, f"/api/v1/{path}"] = own.get(method, f"{noun}:{verb}")
    return found


def register(noun: str, names: str, **own: str) -> dict[tuple[str, str], str]:
    """Return the scopes of lists whose rows can be added, changed and deleted."""
    found = {}
    for name in names.split():
        found |= rows(noun, name, "GET POST", **own)
        found |= rows(noun, f"{name}/{{}}", "GET PATCH DELETE")
    return found


ANYBODY = {("GET", "/api/v1/"), ("GET", "/api/v1/openapi.json")}
"""The description of the API; it holds nothing of a shop."""

SIGNED_IN = {("GET", "/api/v1/me")}
"""Answered to everybody who is known, about themselves."""

TABLE: dict[tuple[str, str], str] = {
    **rows("sites", "sites", POST="accounts:write"),
    **rows("sites", "sites/{}", "GET PATCH"),
    **rows("accounts", "access-tokens"),
    **rows("accounts", "access-tokens/{}", "GET PATCH"),
    **rows("accounts", "access-tokens/{}/rotations access-tokens/{}/revocations", "POST"),
    **register(
        "sites",
        "people shifts mixers scales places locations",
    ),
    **register("availability", "day-changes closed-days outages expected-temperatures"),
    **rows("availability", "shop-changes", "POST"),
    **rows("plans", "plan-check", "GET"),
    **rows("sites", "shop-files shop-files/sheets", "GET"),
    **rows("sites", "shop-files/readings", "POST"),
    **register("lots", "storage-spells"),
    **register(
        "materials",
        "suppliers supplier-closures materials packs resin-systems system-components "
        "release-recipes release-clashes",
    ),
    **rows("materials", "catalogue-changes catalogue-changes/{}", "GET"),
    **rows("materials", "catalogue-changes/{}/releases catalogue-changes/{}/refusals", "POST"),
    **rows("materials", "catalogue-rules catalogue-rules/{}", "GET"),
    ("PATCH", "/api/v1/catalogue-rules/{}"): "accounts:write",
    **rows(
        "materials",
        "suppliers/{}/changes materials/{}/changes packs/{}/changes resin-systems/{}/changes "
        "system-components/{}/changes",
        "POST",
    ),
    **register("materials", "learned-codes", POST="movements:write"),
    **rows("lots", "lots containers containers/{} stock", "GET"),
    **rows("lots", "lots/{}", "GET PATCH"),
    **rows(
        "lots",
        "lots/{}/holds lots/{}/expiry-corrections lots/{}/certificates",
        "POST",
    ),
    **rows("lots", "lots/{}/certificate", "GET"),
    **rows("releases", "lots/{}/releases", "POST"),
    **rows("shelf_life", "lots/{}/retests", "POST"),
    **rows("lots", "containers/{}/openings containers/{}/placements", "POST"),
    **rows("movements", "movements"),
    **rows("movements", "movements/{}", "GET"),
    **rows("weighings", "scale-readings", "POST"),
    **rows("movements", "splits mixes receipts scans", "POST"),
    **rows("requirements", "reservations reservations/{} requirements requirements/{}", "GET"),
    **rows("tools", "tools tool-events"),
    **rows("tools", "tools/{}", "GET PATCH"),
    **register("tools", "tool-families checkpoints retirement-reasons"),
    **rows(
        "tools",
        "tool-events/{}/corrections tool-events/{}/withdrawals tool-events/counter-files",
        "POST",
    ),
    **rows("tools", "tools/{}/life tools/{}/upkeep tools/{}/drifts tool-families/{}/life", "GET"),
    **rows("tools", "tool-events/{}", "GET"),
    **rows("movements", "counts waste-entries consignments"),
    **rows("movements", "consignments/{} arrivals arrivals/{}", "GET"),
    **rows("movements", "consignments/{}/returns arrivals/{}/receipts", "POST"),
    **rows("movements", "waste-entries/{} waste-record", "GET"),
    **rows("movements", "waste-entries/{}/withdrawals", "POST"),
    **rows("movements", "counts/{}", "GET"),
    **rows("movements", "counts/{}/figures counts/{}/approvals counts/{}/cancellations", "POST"),
    **rows("trace", "trace", "GET"),
    **rows("lots", "recalls"),
    **rows("lots", "recalls/{}", "GET"),
    **rows("releases", "recalls/{}/liftings", "POST"),
    **rows("requirements", "outlook outlook/months", "GET"),
    **rows("purchases", "purchase-orders purchase-proposals"),
    **rows("purchases", "purchase-orders/{} purchase-proposals/{}", "GET"),
    **rows(
        "purchases",
        "purchase-orders/{}/cancellations purchase-orders/{}/closings "
        "purchase-orders/{}/confirmations purchase-orders/{}/placements "
        "purchase-orders/{}/announcements "
        "purchase-proposals/{}/refusals",
        "POST",
    ),
    **rows("approvals", "purchase-orders/{}/approvals purchase-proposals/{}/approvals", "POST"),
    **rows("movements", "purchase-orders/{}/receipts", "POST"),
    **rows("prices", "purchase-orders/{}/ubl-order", "GET"),
    **rows("purchases", "purchase-orders/{}/ubl-receipt-advice", "GET"),
    **rows("tool_orders", "patterns"),
    **rows("tool_orders", "patterns/{}", "GET DELETE"),
    **rows("tool_orders", "patterns/{}/pictures/{}", "GET"),
    **rows("tool_orders", "patterns/{}/examinations patterns/{}/uses", "POST"),
    **rows("routes", "routes"),
    **rows("routes", "routes/{}", "GET PATCH"),
    **rows("tool_orders", "tool-orders replacements delivery-notes"),
    **rows("tool_orders", "delivery-notes/{} delivery-notes/{}/ubl-despatch-advice", "GET"),
    **rows("tool_orders", "tool-orders/{}/ubl-order-response", "GET"),
    **rows("tool_orders", "delivery-notes/{}/returns", "POST"),
    **rows("tool_orders", "replacements/{} replacements/proposals", "GET"),
    **rows("tool_orders", "tool-orders/{}", "GET PATCH"),
    **rows("tool_orders", "pours", "GET"),
    **rows("events", "events", "GET"),
    **register("webhooks", "webhook-endpoints"),
    **rows(
        "webhooks",
        "webhook-endpoints/{}/secrets webhook-endpoints/{}/pauses "
        "webhook-endpoints/{}/resumptions webhook-endpoints/{}/replays webhook-endpoints/{}/tests",
        "POST",
    ),
    **rows("webhooks", "webhook-deliveries webhook-deliveries/{}", "GET"),
    **rows("webhooks", "webhook-attempts webhook-attempts/{}", "GET"),
    **rows("tool_orders", "pours/{}", "GET PATCH"),
    **rows(
        "tool_orders",
        "tool-orders/bulk tool-orders/{}/cancellations "
        "tool-orders/{}/holds tool-orders/{}/releases tool-orders/{}/quantities",
        "POST",
    ),
    **rows("steps", "steps steps/{}", "GET"),
    **rows("steps", "steps/{}/signatures steps/{}/waivers steps/{}/photos", "POST"),
    **rows("steps", "steps/{}/photo", "GET"),
    **rows("plans", "plans"),
    **rows("plans", "plans/{} plans/{}/content plans/{}/comparison", "GET"),
    **rows("plans", "plans/{}/confirmations plans/{}/stops", "POST"),
    **rows("plans", "plan-trials"),
    **rows("plans", "plan-trials/{} planning-rules", "GET"),
    **rows("plans", "planning-rules/{}", "GET PATCH"),
    **rows("batches", "batches sheets/{}", "GET"),
    **rows("batches", "batches/{}", "GET PATCH"),
    **rows("quarantines", "casting-quarantines casting-quarantines/{}", "GET"),
    **rows("quarantines", "casting-quarantines/{}/releases", "POST"),
    **rows("weighings", "batches/{}/correction batches/{}/gate", "GET"),
    **rows(
        "weighings",
        "batches/{}/entries batches/{}/amendments batches/{}/weighings batches/{}/photos",
        "POST",
    ),
    **rows("batches", "batches/{}/photos/{}", "GET"),
    **rows("cures", "cures cures/{} demouldings/{} oven-stays/{}", "GET"),
    **rows("cures", "cures/{}/peaks demouldings/{}/photos", "POST"),
    **rows("cures", "demouldings/{}/photo", "GET"),
    **rows("cures", "temperatures demouldings oven-stays"),
    **rows(
        "cures",
        "temperatures/bulk temperatures/{}/withdrawals oven-stays/{}/outs "
        "oven-stays/{}/withdrawals",
        "POST",
    ),
    **rows(
        "reminders", "reminders reminders/{} reminder-deliveries reminder-deliveries/{}", "GET"
    ),
    **rows("reminders", "reminder-choices"),
    **rows("reminders", "reminder-settings", "GET"),
    **rows("reminders", "reminder-settings/{}", "GET PATCH"),
    **rows("reminders", "reminders/{}/confirmations", "POST"),
    **rows("reminders", "reminder-deliveries/{}/replays", "POST"),
    **rows("prices", "casting-costs losses buyer-figures", "GET"),
    **rows("reminders", "reminder-choices/{}", "GET"),
    **rows("calculations", "workbench/fit workbench/properties", "GET"),
    **rows("audit", "audit-entries audit-entries/{}", "GET"),
    **rows(
        "calculations",
        "workbench workbench/volume workbench/mix workbench/over-pour workbench/pot-life "
        "workbench/lift workbench/section workbench/data-sheet workbench/clocks workbench/cure "
        "workbench/dew-point",
        "GET",
    ),
}

NO_SITE = {
    "suppliers",
    "supplier-closures",
    "materials",
    "packs",
    "learned-codes",
    "resin-systems",
    "system-components",
    "release-recipes",
    "release-clashes",
    "catalogue-changes",
    "catalogue-rules",
    "routes",
    "reminder-settings",
}
"""Lists that all sites share."""

CATALOGUE = (
    "suppliers supplier-closures materials packs resin-systems system-components "
    "release-recipes release-clashes learned-codes"
)
FOR_ALL: set[tuple[str, str]] = {
    ("POST", "/api/v1/sites"),
    ("POST", "/api/v1/routes"),
    ("PATCH", "/api/v1/routes/{}"),
    *{("POST", f"/api/v1/{name}") for name in CATALOGUE.split() if name != "learned-codes"},
    ("PATCH", "/api/v1/catalogue-rules/{}"),
    ("POST", "/api/v1/catalogue-changes/{}/releases"),
    ("POST", "/api/v1/catalogue-changes/{}/refusals"),
    *{
        ("POST", f"/api/v1/{name}/{{}}/changes")
        for name in ("suppliers", "materials", "packs", "resin-systems", "system-components")
    },
    *{(m, f"/api/v1/{name}/{{}}") for name in CATALOGUE.split() for m in ("PATCH", "DELETE")},
}
"""What changes that which all sites work by: a role at one of several sites does not open it."""
