"""
Writing the audit: every change a caller makes to what is listed in `AUDITED`.

The entry is written in the transaction of the change. What already is a record that is only added
to (movements, weighings, tool events) names its own author and is not written down twice. Changes
made by the worker or a command have no caller and are not entered.
"""

from __future__ import annotations

from typing import Any

from django.db.models import Model
from django.db.models.signals import post_delete, post_save, pre_save

from shared import clock
from shared.access.ownership import site_id_of
from shared.audit.models import AuditEntry
from shared.caller import current_request

AUDITED = {
    "shared.site",
    "shared.endpoint",
    "shared.user",
    "shared.membership",
    "shared.companymembership",
    "shared.accesstoken",
    "shared.mailserver",
    "shared.secondstep",
    "shop.person",
    "shop.shift",
    "shop.daychange",
    "shop.closedday",
    "shop.expectedtemperature",
    "shop.outage",
    "shop.mixer",
    "shop.scale",
    "shop.place",
    "shop.location",
    "shop.cataloguechange",
    "shop.cataloguerules",
    "shop.material",
    "shop.supplier",
    "shop.supplierclosure",
    "shop.pack",
    "shop.resinsystem",
    "shop.systemcomponent",
    "shop.releaserecipe",
    "shop.learnedcode",
    "shop.lot",
    "shop.container",
    "shop.recall",
    "shop.tool",
    "shop.purchaseorder",
    "shop.purchaseproposal",
    "planning.route",
    "planning.routestep",
    "planning.toolorder",
    "planning.pour",
    "planning.weekplan",
    "planning.planningrules",
    "planning.batch",
    "planning.patternmesh",
}
HIDDEN = frozenset(
    {
        "password",
        "digest",
        "old_digest",
        "last_login",
        "last_used_at",
        "version",
        "secret",
        "old_secret",
        "last_count",
    }
)
TOO_LONG = 2000
"""Longer values, such as a whole plan, are entered by their length."""


def watch() -> None:
    """Begin to listen; called once when the application starts."""
    pre_save.connect(_before, dispatch_uid="audit-before")
    post_save.connect(_saved, dispatch_uid="audit-saved")
    post_delete.connect(_deleted, dispatch_uid="audit-deleted")


def _wanted(row: Model) -> bool:
    return row._meta.label_lower in AUDITED and current_request() is not None


def _before(sender: Any, instance: Model, **_: Any) -> None:
    if _wanted(instance) and not instance._state.adding:
        stored = type(instance)._base_manager.filter(pk=instance.pk).first()
        instance.__dict__["_audit_before"] = values(stored) if stored else {}


def _saved(sender: Any, instance: Model, created: bool, **_: Any) -> None:
    if not _wanted(instance):
        return
    before = {} if created else instance.__dict__.pop("_audit_before", {})
    after = values(instance)
    changed = {name for name in after if before.get(name) != after[name]}
    if created:
        enter("added", instance, {}, after)
    elif changed:
        enter(
            "changed",
            instance,
            {name: before.get(name) for name in changed},
            {name: after[name] for name in changed},
        )


def _deleted(sender: Any, instance: Model, **_: Any) -> None:
    if _wanted(instance):
        enter("deleted", instance, values(instance), {})


def values(row: Model) -> dict[str, Any]:
    """Return the stored values of a row as JSON can hold them, secrets left out."""
    found = {}
    for field in row._meta.concrete_fields:
        if field.name in HIDDEN:
            continue
        value = field.value_from_object(row)
        if value is not None and not isinstance(value, bool | int | list | dict):
            value = value.isoformat() if hasattr(value, "isoformat") else str(value)
        if isinstance(value, list | dict | str) and len(str(value)) > TOO_LONG:
            value = f"({len(str(value))} characters)"
        found[field.attname] = value
    return found


def enter(action: str, row: Model, before: dict[str, Any], after: dict[str, Any]) -> None:
    """Add one entry for the caller of the present request."""
    request = current_request()
    user: Any = getattr(request, "user", None)
    known = user is not None and user.is_authenticated
    token = getattr(request, "auth", None)
    AuditEntry.objects.create(
        at=clock.now(),
        user_id=user.pk if known else None,
        username=user.get_username() if known else "",
        token=token.prefix if token is not None else "",
        request_id=getattr(request, "request_id", ""),
        site_id=site_id_of(row),
        action=action,
        kind=row._meta.label_lower,
        object_id=row.pk or 0,
        name=str(row)[:200],
        before=before,
        after=after,
    )
