"""Mixing lots of one material in one can: a lot of its own, as old as the oldest part."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from shared import clock
from shared.access.models import Site, User
from shared.codes.finding import find
from shared.errors import Invalid
from shared.retry import retried
from shop.errors import Refused
from shop.ledger.actions import IN, OUT, refuse_unusable
from shop.ledger.models import Movement, MovementKind
from shop.ledger.opening import opened
from shop.ledger.posting import Entry, exact, locked, post
from shop.lots.actions import place
from shop.lots.labels import new_container
from shop.lots.models import Container, Lot, LotStatus
from shop.sites.models import Location

Parts = Sequence[tuple[int, Decimal]]
"""Id of a container and how much is taken out of it."""


@retried
def mix(
    *,
    parts: Parts,
    key: str,
    at: datetime,
    by: User | None = None,
    into: Container | None = None,
    location: Location | None = None,
    reason: str = "",
) -> Container:
    """
    Pour several lots of one material into one can, which is then a mixed lot.

    The mixed lot expires with the first of its parts, and its open life runs from the earliest
    opening of them. Each part stays on record: what is recalled or traced leads through the mixed
    lot. With `into` a can of a mixed lot is filled up. A repeat of the key returns the can.

    Raises
    ------
    Invalid
        If fewer than two lots or more than one material or site would meet.
    LotNotUsable
        If a part is in quarantine, held or out of date: the whole can would be.
    """
    if done := Movement.objects.filter(key=f"{key}:0:{IN}").select_related("container").first():
        return done.container
    for _, quantity in parts:
        exact(quantity)
    if len({pk for pk, _ in parts}) != len(parts):
        raise Invalid.one("parts", "twice", "parts name a container twice; add the two up.")
    cans = locked([pk for pk, _ in parts] + ([into.pk] if into else []))
    sources = [cans[pk] for pk, _ in parts]
    target = cans[into.pk] if into else None
    _refuse_unfit(sources, target, at)
    if target is None:
        target = new_container(_new_lot(sources[0].lot, at))
        if location is not None:
            place(target.pk, location=location, at=at, by=by)
        target = locked([target.pk])[target.pk]
    for n, (source, (_, quantity)) in enumerate(zip(sources, parts, strict=True)):
        for side, own, other, signed in (
            (OUT, source, target, -quantity),
            (IN, target, source, quantity),
        ):
            entry = Entry(
                key=f"{key}:{n}:{side}",
                container_id=own.pk,
                kind=MovementKind.TRANSFER,
                quantity=signed,
                counterpart=f"container:{other.pk}",
                happened_at=at,
                by_id=by.pk if by else None,
                reason=reason,
                opens=side == OUT,
            )
            post(entry, own)
    opened([target.pk], min(can.opened_at or at for can in sources))
    _expire_with_the_first(target.lot, [can.lot for can in sources])
    target.refresh_from_db()
    return target


def _refuse_unfit(sources: Sequence[Container], target: Container | None, at: datetime) -> None:
    every = [*sources, *([target] if target else [])]
    first = every[0].lot
    for can in every:
        if (can.lot.material_id, can.lot.site_id) != (first.material_id, first.site_id):
            words = (
                f"{can.code} holds {can.lot.material.name}, {every[0].code} "
                f"{first.material.name}; only one material of one site goes into one can."
            )
            raise Invalid.one("parts", "not_same_material", words, value=can.code)
        refuse_unusable(can, at)
    if target is not None and not target.lot.mixed:
        raise Refused(
            f"Container {target.code} is labelled as lot {target.lot.code}; name it among the "
            "parts, and the mixture gets a label of its own.",
            container=target.code,
        )
    if len({can.lot_id for can in every}) < 2:
        words = f"all parts are of lot {first.code}; split a container to fill one of its lot."
        raise Invalid.one("parts", "one_lot", words)


def _new_lot(like: Lot, at: datetime) -> Lot:
    day = clock.local(at, like.site).date()
    stem = f"MIX-{day:%Y%m%d}"
    rows = Lot.objects.filter(site=like.site, material=like.material, code__startswith=stem)
    return Lot.objects.create(
        site=like.site,
        material=like.material,
        code=f"{stem}-{rows.count() + 1}",
        received_on=day,
        status=LotStatus.RELEASED,
        mixed=True,
    )


def _expire_with_the_first(lot: Lot, parts: Sequence[Lot]) -> None:
    days = [one.expires_on for one in (lot, *parts) if one.expires_on is not None]
    if days and lot.expires_on != min(days):
        lot.expires_on = min(days)
        lot.version += 1
        lot.save(update_fields=["expires_on", "version"])


def can_by_code(site_id: int, code: str) -> Container:
    """Return a container of a site by what is scanned or typed of its label."""
    named = find(Site.objects.get(pk=site_id), code, wanted=("can",), field="other")
    return Container.objects.select_related("lot__material").get(pk=named.pk)
