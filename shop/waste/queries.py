"""The record of hazardous waste: what was scrapped by the ledger, and what was entered."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Q, QuerySet

from shared import clock
from shared.access.models import Site
from shop.ledger.models import Movement, MovementKind
from shop.lots.models import Lot
from shop.materials.models import Unit
from shop.waste.models import WasteEntry, WasteKind

ZERO = Decimal(0)
GRAM_TENTH = Decimal("0.0001")
EXPIRED, SCRAPPED = "expired", "scrapped"
LATE = timedelta(hours=1)
"""An entry written down so long after the time it gives is marked; chosen here."""
KINDS = {
    EXPIRED: "Expired lot",
    SCRAPPED: "Scrapped lot",
    **dict(WasteKind.choices),
}


@dataclass(frozen=True)
class Waste:
    """One line of the record; `mass_kg` is None where a density that it needs is not known."""

    at: datetime
    kind: str
    mass_kg: Decimal | None
    lot: Lot | None
    counterpart: str
    words: str
    by: str
    entry: WasteEntry | None = None
    late: bool = False

    @property
    def kind_words(self) -> str:
        """Return the kind in words."""
        return KINDS[self.kind]

    @property
    def hazards(self) -> str:
        """Return the hazard statements of the lot's material, or that none are on record."""
        if self.lot is None:
            return ""
        codes = self.lot.material.hazard_statements
        return ", ".join(codes) if codes else "none on record: look at the safety data sheet"


@dataclass(frozen=True)
class Total:
    """What a kind came to; `unknown` lines have no mass."""

    kind: str
    mass_kg: Decimal
    lines: int
    unknown: int

    @property
    def kind_words(self) -> str:
        """Return the kind in words."""
        return KINDS[self.kind]


def standing() -> QuerySet[WasteEntry]:
    """Return the entries that were not withdrawn, with what a line names."""
    return WasteEntry.objects.filter(withdrawal=None).select_related("lot__material", "by")


def record(site: Site, first: date, last: date) -> list[Waste]:
    """Return what went into waste on some days, the earliest first; two queries."""
    start, end = clock.day_start(first, site), clock.day_end(last, site)
    scrap = Movement.objects.filter(
        site=site, kind=MovementKind.SCRAP, reversed_by=None,
        happened_at__gte=start, happened_at__lt=end,
    )  # fmt: skip
    entered = standing().filter(site=site, at__gte=start, at__lt=end).order_by("at", "pk")
    rows = [*map(_of_entry, entered), *(_of_scrap(row, site) for row in _with_lots(scrap))]
    return sorted(rows, key=lambda row: row.at)


def of_trace(site: Site, lots: Collection[int], counterparts: Collection[str]) -> list[Waste]:
    """Return the entries of some lots and of what they went into; scrap is in the trace."""
    about = Q(lot__in=list(lots)) | Q(counterpart__in=list(counterparts))
    return [_of_entry(row) for row in standing().filter(about, site=site).order_by("at", "pk")]


def totals(rows: Collection[Waste]) -> list[Total]:
    """Return the mass of each kind."""
    by_kind: dict[str, list[Waste]] = defaultdict(list)
    for row in rows:
        by_kind[row.kind].append(row)
    return [
        Total(
            kind,
            sum((row.mass_kg for row in own if row.mass_kg is not None), ZERO),
            len(own),
            sum(row.mass_kg is None for row in own),
        )
        for kind in KINDS
        if (own := by_kind.get(kind, []))
    ]


def _with_lots(moves: QuerySet[Movement]) -> QuerySet[Movement]:
    return moves.select_related("container__lot__material", "by").order_by("happened_at", "pk")


def _of_entry(row: WasteEntry) -> Waste:
    return Waste(
        row.at, row.kind, row.mass_kg, row.lot, row.counterpart, row.words,
        str(row.by) if row.by else "", row, row.recorded_at - row.at > LATE,
    )  # fmt: skip


def _of_scrap(row: Movement, site: Site) -> Waste:
    lot = row.container.lot
    day = clock.local(row.happened_at, site).date()
    expired = lot.expires_on is not None and lot.expires_on < day
    return Waste(
        row.happened_at,
        EXPIRED if expired else SCRAPPED,
        mass_of(lot, -row.quantity),
        lot,
        "",
        row.reason,
        str(row.by) if row.by else "",
    )


def mass_of(lot: Lot, quantity: Decimal) -> Decimal | None:
    """Return the mass of a quantity, kg; litres by the density, None where that is not known."""
    material = lot.material
    if material.unit == Unit.KG:
        return quantity
    if material.unit == Unit.LITRE and material.density_kg_l is not None:
        return (quantity * material.density_kg_l).quantize(GRAM_TENTH)
    return None
