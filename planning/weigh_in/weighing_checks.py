"""What a weighing must pass before it is recorded, and what to do where it does not."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal

from planning.batches.models import BatchEntry, BatchLine
from shared import clock
from shared.errors import Invalid, ShopError
from shop import stores
from shop.stores_types import ContainerInfo


class WrongLot(ShopError):
    """A container that is not what the sheet asks for."""


class WeighedMeanwhile(ShopError):
    """A row into which somebody else has weighed since the caller last looked."""


@contextmanager
def what_to_do() -> Iterator[None]:
    """Add to a refusal of the stores what the person at the scale can do about it."""
    try:
        yield
    except ShopError as error:
        if error.code == "not_enough_stock":
            error.message += (
                " Read the scale again. If so much really came out of it, the stock record is "
                "wrong: have the can counted on the Stock page, then record this again."
            )
            error.args = (error.message,)
        raise


def same_as_seen(line: BatchLine, already_kg: Decimal, weighed_kg: Decimal) -> None:
    """Refuse a weighing of somebody who does not know what the row holds by now."""
    found = line.weighings.select_related("by", "line__batch__site")
    rows = list(found.prefetch_related("amendments").order_by("at", "pk"))
    there = sum((row.kg for row in rows), Decimal(0))
    if there == already_kg or not rows:
        return
    last = rows[-1]
    who = "Somebody" if last.by is None else str(last.by)
    at = clock.local(last.at, last.line.batch.site)
    raise WeighedMeanwhile(
        f"{who} has recorded {last.weighed_kg.normalize():f} kg for this row at {at:%H:%M}; with "
        f"your {weighed_kg.normalize():f} kg it would hold {(there + weighed_kg).normalize():f} "
        "kg. If it is the same weighing, take yours back. If both are in the pot, record yours "
        "as well.",
        code="weighed_meanwhile",
        value=str(weighed_kg),
        limit=str(there),
        unit="kg",
    )


def container_for(line: BatchLine, code: str, reason: str) -> int:
    """The container of the sheet, or another of the same material when a reason is given."""
    if not code:
        return line.container_id
    wanted = stores.container(line.container_id)
    if code == wanted.code:
        return line.container_id
    other = stores.container_by_code(line.batch.site_id, code)
    if other.id == wanted.id:
        return line.container_id
    if other.material_id != wanted.material_id:
        raise WrongLot(
            f"{code} holds {other.material_name}; the sheet asks for {wanted.material_name} from "
            f"{wanted.code}. Fetch {wanted.code}.",
            code="wrong_material",
            asked=wanted.code,
        )
    if not reason:
        raise WrongLot(
            f"{code} is lot {other.lot_code}; the sheet asks for {wanted.code}, lot "
            f"{wanted.lot_code}. Fetch that, or give a reason to use {code} instead.",
            code="wrong_lot",
            asked=wanted.code,
        )
    return other.id


def can_of(entry: BatchEntry, code: str) -> ContainerInfo:
    """Return the can that an entry is about: the one named, else that of its row."""
    if code:
        return stores.container_by_code(entry.batch.site_id, code)
    if entry.line is None:
        raise Invalid.one(
            "line", "missing", "line is empty; name the row, or the can by its code."
        )
    return stores.container(entry.line.container_id)
