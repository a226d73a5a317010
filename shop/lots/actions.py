"""What may be done to lots and containers besides moving stock: hold, release, retest, place."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.core.files.base import File

from shared import clock
from shared.access.models import User
from shared.errors import Invalid
from shared.events.kinds import EventKind
from shared.retry import retried
from shop import telling
from shop.core.shelf_life import usable_until
from shop.errors import LotRecalled, NotFound, NotLonger, Refused
from shop.ledger.genealogy import with_descendants
from shop.ledger.opening import filled_from, opened
from shop.lots.certificates import kind_of
from shop.lots.models import Container, Lot, LotStatus, Placement
from shop.recalls.queries import in_force
from shop.sites.models import Location


class AlreadyRetested(Refused):
    own_code = "already_retested"


@retried
def hold(lot_ids: Iterable[int], *, reason: str) -> int:
    """
    Stop lots from being issued; return how many were not held before.

    A finished lot is held too: what arrives of it later is then held as well. So is every mixed
    lot that holds some of it.
    """
    if not reason.strip():
        raise Invalid.one("reason", "required", "reason is empty; say why the lot is held.")
    held = 0
    for lot in _locked(with_descendants(lot_ids)):
        if lot.status != LotStatus.HELD:
            _set_status(lot, LotStatus.HELD, reason)
            telling.of_lot(EventKind.LOT_HELD, lot, reason=reason)
            held += 1
    return held


@retried
def release(lot_id: int, *, reason: str) -> Lot:
    """Let a lot be used: after its check on receipt, or after a hold; say on what grounds."""
    [lot] = _locked([lot_id])
    if not reason.strip():
        words = "reason is empty; say on what check or decision the lot is released."
        raise Invalid.one("reason", "required", words)
    if lot.status == LotStatus.FINISHED:
        raise Refused(f"Lot {lot.code} is finished; it cannot be released.", lot=lot.code)
    _refuse_recalled(lot)
    if lot.status != LotStatus.RELEASED:
        _set_status(lot, LotStatus.RELEASED, reason)
    return lot


@retried
def finish(lot_id: int, *, reason: str = "") -> Lot:
    """Close a lot of which nothing is left."""
    [lot] = _locked([lot_id])
    if lot.containers.filter(balance__gt=0).exists():
        raise Refused(f"Lot {lot.code} still holds stock; scrap or use it up first.", lot=lot.code)
    if lot.status == LotStatus.HELD:
        raise Refused(
            f"Lot {lot.code} is held ({lot.status_reason}); it stays held, so that more of it is "
            "held when it comes. Release it first if it may be used again.",
            lot=lot.code,
        )
    _set_status(lot, LotStatus.FINISHED, reason)
    return lot


def _refuse_recalled(lot: Lot) -> None:
    recalls = in_force(site_id=lot.site_id, material_id=lot.material_id, lot_code=lot.code)
    recall = recalls.first()
    if recall is not None:
        raise LotRecalled(
            f"Lot {lot.code} is recalled: {recall.reason}. Lift the recall first, on the maker's "
            "or quality's word.",
            lot=lot.code,
            recall=recall.pk,
        )


@retried
def retest(
    lot_id: int, *, expires_on: date, evidence: str, now: datetime, by: User | None = None
) -> Lot:
    """
    Extend a lot once, on the evidence of a test; the open life of its containers runs on.

    Raises
    ------
    AlreadyRetested
        A lot is extended once only.
    """
    [lot] = _locked([lot_id])
    if lot.retested_on is not None:
        raise AlreadyRetested(
            f"Lot {lot.code} was retested on {lot.retested_on} and extended to {lot.expires_on}; "
            "a lot is extended once only.",
            lot=lot.code,
        )
    if not evidence.strip():
        words = "evidence is empty; name the test report that shows the lot is still good."
        raise Invalid.one("evidence", "required", words)
    today = clock.local(now, lot.site).date()
    if lot.expires_on is None:
        raise Refused(f"Lot {lot.code} does not expire; there is nothing to extend.", lot=lot.code)
    if expires_on <= max(lot.expires_on, today):
        words = f"expires_on is {expires_on}; it must be later than {max(lot.expires_on, today)}."
        raise Invalid.one("expires_on", "too_early", words, value=expires_on)
    lot.expires_on, lot.retested_on, lot.retested_by = expires_on, today, by
    lot.retest_evidence = evidence.strip()
    lot.version += 1
    names = ["expires_on", "retested_on", "retested_by", "retest_evidence", "version"]
    lot.save(update_fields=names)
    return lot


@retried
def correct_expiry(
    lot_id: int,
    *,
    expires_on: date | None,
    reason: str,
    now: datetime,
    evidence: str = "",
    may_lengthen: bool = False,
) -> Lot:
    """
    Put a mistyped expiry right, as the label says it; the stricter of label and shelf life holds.

    A label may have been misread either way. An earlier day is on the safe side and anybody who
    keeps lots may enter it. A later one lets material be used that was thought too old, as a
    retest does, so it is for quality, on evidence: a picture of the label, the certificate.

    The day before, the day of the correction, reason and evidence are kept with the lot. An
    extended lot keeps its retest: that date did not come from the label.

    Raises
    ------
    NotLonger
        The day would be later, and `may_lengthen` is not given.
    """
    [lot] = _locked([lot_id])
    if not reason.strip():
        words = "reason is empty; say how the expiry came to be wrong."
        raise Invalid.one("reason", "required", words)
    if lot.retested_on is not None:
        raise AlreadyRetested(
            f"Lot {lot.code} was extended by a retest on {lot.retested_on}; its expiry is not the "
            "label's any more. Hold the lot if it must not be used.",
            lot=lot.code,
        )
    until = _as_labelled(lot, expires_on)
    if lot.expires_on is not None and (until is None or until > lot.expires_on):
        _refuse_longer(lot, until, evidence, may_lengthen)
    today = clock.local(now, lot.site).date()
    note = f"put right on {today}, was {lot.expires_on or 'no expiry'}: {reason.strip()}"
    lot.expiry_note = f"{note}; shown by {evidence.strip()}" if evidence.strip() else note
    lot.expires_on = until
    lot.version += 1
    lot.save(update_fields=["expires_on", "expiry_note", "version"])
    _shorten_mixed(lot, today)
    return lot


def _shorten_mixed(lot: Lot, today: date) -> None:
    """Bring forward what holds some of a lot whose expiry was put right to an earlier day."""
    if lot.expires_on is None:
        return
    for mixed in _locked(with_descendants([lot.pk]) - {lot.pk}):
        if mixed.expires_on is None or mixed.expires_on > lot.expires_on:
            note = f"brought forward on {today} with lot {lot.code}, was {mixed.expires_on}"
            mixed.expires_on, mixed.expiry_note = lot.expires_on, note[:500]
            mixed.version += 1
            mixed.save(update_fields=["expires_on", "expiry_note", "version"])


def _as_labelled(lot: Lot, expires_on: date | None) -> date | None:
    """Return the last usable day when the label says `expires_on`; refuse what cannot be so."""
    if expires_on and lot.made_on and expires_on < lot.made_on:
        words = f"expires_on is {expires_on}, before made_on, {lot.made_on}."
        raise Invalid.one("expires_on", "before_made", words, value=expires_on, limit=lot.made_on)
    months = lot.material.shelf_life_months
    if expires_on is None and months and not lot.made_on:
        words = f"{lot.material.name} keeps {months} months; give expires_on from the label."
        raise Invalid.one("expires_on", "required", words)
    state = usable_until(label_until=expires_on, made_on=lot.made_on, shelf_life_months=months)
    if state.until == lot.expires_on:
        kept = f"lot {lot.code} is usable until {lot.expires_on} already"
        by = f", by its {state.binding}" if state.binding else ""
        words = f"expires_on is {expires_on}; {kept}{by}."
        raise Invalid.one("expires_on", "unchanged", words, value=expires_on)
    return state.until


def _refuse_longer(lot: Lot, until: date | None, evidence: str, may_lengthen: bool) -> None:
    later = f"{until or 'no expiry'} is later than {lot.expires_on}"
    if not may_lengthen:
        raise NotLonger(
            f"expires_on: {later}; a longer life is for quality to enter (shelf_life:write), on "
            f"evidence. Until then lot {lot.code} is usable to the end of {lot.expires_on}.",
            lot=lot.code,
            value=str(until),
            limit=str(lot.expires_on),
        )
    if not evidence.strip():
        words = (
            f"evidence is empty; expires_on {later}, so name what shows it: the certificate, a "
            "picture of the label."
        )
        raise Invalid.one("evidence", "required", words)


@retried
def open_container(container_id: int, *, at: datetime) -> Container:
    """Note that a container was opened; the earliest opening stays, whenever it is entered."""
    container = _container(container_id)
    if container.opened_at is None or at < container.opened_at:
        container.opened_at = at
        container.save(update_fields=["opened_at"])
        opened(filled_from([container_id]), at)
    return container


@retried
def place(container_id: int, *, location: Location, at: datetime, by: User | None) -> Container:
    """Put a container on another shelf of its site."""
    container = _container(container_id)
    if location.site_id != container.lot.site_id or not location.in_use:
        words = f"location is {location.code}; choose a shelf of the lot's site that is in use."
        raise Invalid.one("location", "does_not_exist", words, value=location.code)
    if container.location_id != location.pk:
        container.location = location
        container.save(update_fields=["location"])
        Placement.objects.create(container=container, location=location, since=at, by=by)
    return container


@dataclass(frozen=True)
class Certificate:
    """A supplier's certificate that was read to its end and may be kept."""

    file: File[bytes]
    kind: str


def read_certificate(file: File[bytes]) -> Certificate:
    """Read what was handed in; done before any row is locked, for it may take seconds."""
    return Certificate(file, kind_of(file))


@retried
def attach_certificate(lot_id: int, *, certificate: Certificate, words: str = "") -> Lot:
    """Keep the supplier's certificate with a lot, under a name of our own."""
    [lot] = _locked([lot_id])
    lot.certificate_file.save(f"lot-{lot.pk}.{certificate.kind}", certificate.file, save=False)
    lot.certificate = words or lot.certificate or "attached"
    lot.version += 1
    lot.save(update_fields=["certificate_file", "certificate", "version"])
    return lot


def _set_status(lot: Lot, status: LotStatus, reason: str) -> None:
    lot.status, lot.status_reason, lot.status_at = status, reason[:200], clock.now()
    lot.version += 1
    lot.save(update_fields=["status", "status_reason", "status_at", "version"])


def _locked(lot_ids: Iterable[int]) -> list[Lot]:
    wanted = sorted(set(lot_ids))
    rows = Lot.objects.select_for_update(of=("self",), no_key=True)
    rows = rows.select_related("site", "material")
    found = list(rows.filter(pk__in=wanted).order_by("pk"))
    if len(found) != len(wanted):
        raise NotFound(f"There is no lot {wanted[0] if len(wanted) == 1 else wanted}.")
    return found


def _container(container_id: int) -> Container:
    rows = Container.objects.select_for_update(of=("self",), no_key=True).select_related("lot")
    container = rows.filter(pk=container_id).first()
    if container is None:
        raise NotFound(f"There is no container {container_id}.")
    return container
