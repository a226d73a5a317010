"""What suppliers offer for each material, and what the shop usually uses: read for proposals."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models.functions import TruncWeek

from shared import clock
from shared.access.models import Site
from shop.core.buying import Offer
from shop.core.packs import Pack as CorePack
from shop.ledger.models import Movement, MovementKind
from shop.materials.models import MaterialKind, Pack
from shop.sums import exact_sum

WEEKS_LOOKED_BACK = 26
ORDER_COST = 5.0
"""Hands that write, take in and check an order, where a supplier has no figure; chosen here."""
PLANNED_KINDS = (MaterialKind.RESIN, MaterialKind.HARDENER)
"""Bought for dated pours alone; of all others people also take what nobody planned."""


def offers(material_ids: Iterable[int]) -> dict[int, dict[int, Offer]]:
    """Return the offer of each supplier for each material, in one query."""
    rows: dict[tuple[int, int], list[Pack]] = defaultdict(list)
    for pack in (
        Pack.objects.filter(material__in=list(material_ids))
        .select_related("supplier")
        .prefetch_related("supplier__closures")
    ):
        rows[pack.material_id, pack.supplier_id].append(pack)
    found: dict[int, dict[int, Offer]] = defaultdict(dict)
    for (material, supplier), packs in rows.items():
        found[material][supplier] = _offer(packs)
    return dict(found)


def _offer(packs: list[Pack]) -> Offer:
    supplier = packs[0].supplier
    by_name: dict[str, list[Pack]] = defaultdict(list)
    for pack in packs:
        by_name[pack.name].append(pack)
    leads = [
        supplier.lead_time_days if p.lead_time_days is None else p.lead_time_days for p in packs
    ]
    return Offer(
        supplier=supplier.name,
        packs=tuple(
            CorePack(
                name,
                float(group[0].content),
                tuple((p.from_packs, float(p.price)) for p in group),
                min(p.least_packs for p in group),
            )
            for name, group in sorted(by_name.items())
        ),
        lead_days=max(leads),
        lead_sd_days=float(supplier.lead_time_sd_days),
        order_cost=float(supplier.order_cost) or ORDER_COST,
        currency=supplier.currency,
        calendar=supplier.calendar(),
        least_value=float(supplier.least_order),
    )


@dataclass(frozen=True)
class UsualUse:
    """What a site takes of a material in a week, in its unit."""

    mean_week: float
    sd_week: float


def usual_use(site: Site, today: date) -> dict[int, UsualUse]:
    """Return the weekly use of materials that are not bought for dated pours alone."""
    monday = today - timedelta(days=today.weekday())
    first = monday - timedelta(weeks=WEEKS_LOOKED_BACK)
    rows = (
        Movement.objects.filter(
            site=site,
            kind=MovementKind.ISSUE,
            happened_at__gte=clock.day_start(first, site),
            happened_at__lt=clock.day_start(monday, site),
        )
        .exclude(container__lot__material__kind__in=PLANNED_KINDS)
        .annotate(week=TruncWeek("happened_at", tzinfo=clock.zone(site.time_zone)))
        .values("container__lot__material", "week")
        .annotate(total=exact_sum("quantity"))
        .order_by()
    )
    weeks: dict[int, list[float]] = defaultdict(list)
    for row in rows:
        weeks[row["container__lot__material"]].append(-float(row["total"]))
    found = {}
    for material, totals in weeks.items():
        padded = totals + [0.0] * (WEEKS_LOOKED_BACK - len(totals))
        found[material] = UsualUse(statistics.fmean(padded), statistics.pstdev(padded))
    return found
