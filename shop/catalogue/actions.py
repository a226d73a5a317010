"""Proposing a change of the catalogue, releasing or declining it, and bringing it into force."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Model

from shared.access.models import User
from shared.change import change
from shared.errors import Invalid, ShopError
from shop.catalogue import queries
from shop.catalogue.guarded import (
    GUARDED,
    WHOLE_ROWS,
    as_kept,
    changed,
    label_of,
    model_of,
    plain,
    set_values,
    words_for,
)
from shop.catalogue.models import CatalogueChange, CatalogueRules, ChangeAct, ChangeState
from shop.catalogue.touching import touched

LONGEST_AHEAD_DAYS = 730


def check_one_signature(row: Model, values: Mapping[str, Any]) -> None:
    """
    Refuse to change guarded values at once where the company asks for a second signature.

    Raises
    ------
    ShopError
        `second_signature_needed`, with the fields.
    """
    if label_of(row) not in GUARDED:
        return
    names = list(changed(row, values))
    if names and queries.two_signatures():
        raise _needed(", ".join(words_for(type(row), name) for name in names), names)


def check_whole_row(row: Model | type[Model]) -> None:
    """Refuse to add or take away a row of a guarded register at once, under the same rule."""
    if label_of(row) in WHOLE_ROWS and queries.two_signatures():
        raise _needed(str(row._meta.verbose_name), [])


def _needed(what: str, names: list[str]) -> ShopError:
    return ShopError(
        f"{what}: the company asks for a second signature here. Propose the change with a reason; "
        "somebody else who may change what all sites work by releases it.",
        "second_signature_needed",
        fields=names,
    )


@transaction.atomic
def propose(
    *,
    row: Any,
    values: Mapping[str, Any],
    by: User,
    reason: str,
    now: datetime,
    valid_from: date | None = None,
    act: str = ChangeAct.CHANGE,
) -> CatalogueChange:
    """
    Write down a change that somebody else is to release.

    Parameters
    ----------
    row : Model
        The row as it is; a new one, not stored, with `act` add.
    values : mapping
        Values by field; those that do not change are left out.
    valid_from : date, optional
        First day on which it holds (UTC); today unless given.

    Raises
    ------
    Invalid
        No reason, a day in the past, or nothing that changes.
    ValidationError
        What the model forbids, by field.
    """
    today = now.astimezone(UTC).date()
    reason = " ".join(reason.split())
    if not reason:
        raise Invalid.one("reason", "required", "reason is empty; say why the value changes.")
    day = valid_from or today
    if not 0 <= (day - today).days <= LONGEST_AHEAD_DAYS:
        words = f"valid_from is {day}; give a day from {today} to {LONGEST_AHEAD_DAYS} days later."
        raise Invalid.one("valid_from", "out_of_range", words, value=str(day))
    label = label_of(row)
    model_of(label)
    before, after = _what_changes(row, values, act)
    return CatalogueChange.objects.create(
        register=label,
        row_id=row.pk,
        row_name=str(row)[:200],
        act=act,
        before=before,
        after=after,
        valid_from=day,
        reason=reason[:300],
        touches=touched(label, row.pk),
        proposed_at=now,
        proposed_by=by,
    )


def _what_changes(
    row: Any, values: Mapping[str, Any], act: str
) -> tuple[dict[str, Any], dict[str, Any]]:
    every = [field.name for field in row._meta.concrete_fields if not field.primary_key]
    if act == ChangeAct.REMOVE:
        return {name: as_kept(row, name) for name in every}, {}
    if act == ChangeAct.ADD:
        for name, value in values.items():
            setattr(row, name, value)
        row.full_clean()
        return {}, {name: as_kept(row, name) for name in every}
    pairs = changed(row, values)
    if not pairs:
        raise Invalid("Nothing changes that takes a second signature.")
    trial = type(row)._default_manager.get(pk=row.pk)
    set_values(trial, {name: after for name, (_, after) in pairs.items()})
    trial.full_clean()
    return (
        {name: before for name, (before, _) in pairs.items()},
        {name: after for name, (_, after) in pairs.items()},
    )


def _locked(change: CatalogueChange, *states: str) -> CatalogueChange:
    found = CatalogueChange.objects.select_for_update().get(pk=change.pk)
    if found.state not in states:
        raise ShopError(
            f"“{found}” is {found.get_state_display().lower()} already; read it again.",
            "already_decided",
            state=found.state,
        )
    return found


@transaction.atomic
def release(
    *, change: CatalogueChange, by: User, now: datetime, reason: str = ""
) -> CatalogueChange:
    """
    Give the second signature; what is valid from today or earlier holds at once.

    Raises
    ------
    ShopError
        `own_change` where others could release it, `overtaken` where a value is no longer what
        the proposal was made for, `already_decided`.
    Invalid
        A change of one's own without a reason.
    """
    found = _locked(change, ChangeState.WAITING)
    reason = " ".join(reason.split())
    if found.proposed_by_id == by.pk:
        if queries.may_release().exclude(pk=by.pk).exists():
            raise ShopError(
                "You proposed this change; somebody else who may change what all sites work by "
                "releases it.",
                "own_change",
            )
        if not reason:
            words = (
                "reason is empty; nobody else may release this, so say how you checked the value."
            )
            raise Invalid.one("reason", "required", words)
    if differing := _overtaken(found):
        raise ShopError(
            f"{differing} changed after this was proposed. Decline it and propose it anew.",
            "overtaken",
        )
    found.state, found.decided_by, found.decided_at = ChangeState.RELEASED, by, now
    found.decision_reason = reason[:300]
    found.version += 1
    found.save()
    if found.valid_from <= now.astimezone(UTC).date():
        _bring_into_force(found, now)
    return found


@transaction.atomic
def decline(*, change: CatalogueChange, by: User, now: datetime, reason: str) -> CatalogueChange:
    """Refuse a change that waits, or take back one that is released and not yet in force."""
    found = _locked(change, ChangeState.WAITING, ChangeState.RELEASED)
    if not reason.strip():
        raise Invalid.one("reason", "required", "reason is empty; say why it is declined.")
    found.state, found.decided_by, found.decided_at = ChangeState.DECLINED, by, now
    found.decision_reason = " ".join(reason.split())[:300]
    found.version += 1
    found.save()
    return found


def bring_due_into_force(now: datetime) -> int:
    """Let released changes hold whose day has come; returns how many."""
    due = CatalogueChange.objects.filter(
        state=ChangeState.RELEASED, valid_from__lte=now.astimezone(UTC).date()
    )
    count = 0
    for key in list(due.order_by("valid_from", "id").values_list("pk", flat=True)[:200]):
        with transaction.atomic():
            found = CatalogueChange.objects.select_for_update().get(pk=key)
            if found.state == ChangeState.RELEASED:
                _bring_into_force(found, now)
                count += 1
    return count


def _overtaken(change: CatalogueChange) -> str:
    """Return what is no longer as the proposal found it, in words; empty when all is."""
    if change.act == ChangeAct.ADD:
        return ""
    model = model_of(change.register)
    row = model._default_manager.filter(pk=change.row_id).first()
    if row is None:
        return change.row_name
    return ", ".join(
        words_for(model, name)
        for name, value in change.before.items()
        if name != "version" and as_kept(row, name) != plain(value)
    )


def _bring_into_force(change: CatalogueChange, now: datetime) -> None:
    model = model_of(change.register)
    try:
        with transaction.atomic():
            if _overtaken(change):
                raise ValidationError("overtaken")
            if change.act == ChangeAct.ADD:
                row = model()
                set_values(row, change.after)
                row.full_clean()
                row.save()
                change.row_id = row.pk
            else:
                row = model._default_manager.select_for_update().get(pk=change.row_id)
                if change.act == ChangeAct.REMOVE:
                    row.delete()
                else:
                    set_values(row, change.after)
                    if hasattr(row, "version"):
                        row.version += 1
                    row.full_clean()
                    row.save()
    except ValidationError:
        # Another change came in between; the row stays, and the page says so.
        change.state = ChangeState.OVERTAKEN
    else:
        change.state, change.in_force_at = ChangeState.IN_FORCE, now
    change.version += 1
    change.save()


@transaction.atomic
def set_rules(
    *, two_signatures: bool | None = None, orders_by_two: bool | None = None
) -> CatalogueRules:
    """
    Turn second signatures on or off; what is None stays.

    Raises
    ------
    ShopError
        Turning it off while changes wait for a release.
    """
    waiting = CatalogueChange.objects.filter(
        state__in=[ChangeState.WAITING, ChangeState.RELEASED]
    ).count()
    if two_signatures is False and waiting:
        raise ShopError(
            f"{waiting} proposed changes are open; release or decline them first.",
            "changes_open",
        )
    queries.rules()
    found = CatalogueRules.objects.get(pk=1)
    asked = {"two_signatures": two_signatures, "orders_by_two": orders_by_two}
    wanted = {k: v for k, v in asked.items() if v is not None and v != getattr(found, k)}
    return change(found, **wanted) if wanted else found
