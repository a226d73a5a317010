"""Taking a material from whatever containers hold it, first expired first out."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from shared import clock
from shared.access.models import Site, User
from shared.retry import retried
from shared.times import SKEW
from shop.errors import KeyReused, NotEnoughStock
from shop.ledger import actions
from shop.ledger.in_time import received_at
from shop.ledger.models import Movement
from shop.ledger.posting import amount, exact, info
from shop.lots.queries import containers
from shop.materials.models import Material
from shop.stores_types import MovementInfo


@retried
def issue_from_material(
    *,
    site_id: int,
    material_id: int,
    quantity: Decimal,
    key: str,
    counterpart: str,
    happened_at: datetime,
    by: User | None = None,
    reason: str = "",
) -> tuple[MovementInfo, ...]:
    """
    Take release agent or consumables without naming a container; all of it or nothing.

    Each container's part is a movement of its own with the key `KEY:1`, `KEY:2` …
    """
    exact(quantity)
    # The lock on the material makes a repeat wait for the first to finish, and two takers share.
    material = Material.objects.select_for_update(no_key=True).get(pk=material_id)
    if earlier := _earlier(key, quantity):
        return earlier
    left = quantity
    taken: list[MovementInfo] = []
    day = clock.local(happened_at, Site.objects.get(pk=site_id)).date()
    for source in containers(site_id, [material_id], usable_on=day):
        part = min(left, source.free)
        came = received_at(source.id)
        if part > 0 and (came is None or came <= happened_at + SKEW):
            taken.append(
                actions.issue(
                    container_id=source.id,
                    quantity=part,
                    key=f"{key}:{len(taken) + 1}",
                    counterpart=counterpart,
                    happened_at=happened_at,
                    by=by,
                    reason=reason,
                )
            )
            left -= part
        if left <= 0:
            return tuple(taken)
    raise NotEnoughStock(
        f"{material.name}: {amount(quantity, material.unit)} needed, "
        f"{amount(quantity - left, material.unit)} free and in date on {day.isoformat()}; "
        f"{amount(left, material.unit)} is short.",
        material=material.code,
        value=str(quantity),
        limit=str(quantity - left),
        unit=material.unit,
    )


def _earlier(key: str, quantity: Decimal) -> tuple[MovementInfo, ...]:
    rows = [r for r in Movement.objects.filter(key__startswith=f"{key}:").order_by("id")
            if r.key.removeprefix(f"{key}:").isdigit()]  # fmt: skip
    if rows and -sum(row.quantity for row in rows) != quantity:
        raise KeyReused(f"The key {key} was used for another quantity; use a new key.", key=key)
    return tuple(info(row) for row in rows)
