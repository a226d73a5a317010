"""What castings cost from the lots they really used, and what was lost, read from the ledger."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Q
from django.db.models.functions import Coalesce

from shared import clock
from shared.access.models import Site
from shop.core.costing import (
    CastingCost,
    Loss,
    LotPrice,
    MonthLoss,
    Use,
    casting_costs,
    losses_by_month,
)
from shop.ledger.models import Movement, MovementKind
from shop.lots.models import Container, LotStatus
from shop.materials.suppliers import home_currency
from shop.sums import exact_sum
from shop.trace import providers

ZERO = Decimal(0)
STEP = Decimal("0.0001")
LOST = (MovementKind.SCRAP, MovementKind.SAMPLE, MovementKind.COUNT)
WORDS = {"scrap": "scrapped", "sample": "sample", "count": "count difference"}


@dataclass(frozen=True)
class NamedCost:
    """A casting's cost with its name for people and where to look at it."""

    label: str
    url: str
    cost: CastingCost


@dataclass(frozen=True)
class StaleStock:
    """Stock that is out of date and still on the shelf."""

    material_code: str
    unit: str
    quantity: Decimal
    cost: Decimal | None
    currency: str


def costs(site: Site, first: date, last: date) -> tuple[NamedCost, ...]:
    """
    Return what each casting worked on in some days has cost so far, whole, not only in them.

    What one batch gave to several castings is shared by the mass poured into each; where no mass
    is known, equally. A use nobody can name stands by itself.
    """
    return _costs(
        site, _counterparts(site, clock.day_start(first, site), clock.day_end(last, site))
    )


def costs_of(site: Site, castings: Iterable[str]) -> dict[str, CastingCost]:
    """Return what some castings, named as `pour:7`, have cost so far; others are left out."""
    wanted = set(castings)
    rows = _costs(site, providers.counterparts_of(wanted))
    return {row.cost.casting: row.cost for row in rows if row.cost.casting in wanted}


def _costs(site: Site, touched: set[str]) -> tuple[NamedCost, ...]:
    named = providers.uses(touched)
    castings = {part.casting for use in named.values() for part in use.parts}
    every = touched | providers.counterparts_of(castings)
    named |= providers.uses(every - touched)
    labels: dict[str, tuple[str, str]] = {}
    uses: list[Use] = []
    prices: dict[str, LotPrice] = {}
    for counterpart, lot, material, price, currency, quantity in _used(site, every):
        if price is not None:
            prices[lot] = LotPrice(price, currency or home_currency())
        for casting, label, url, share in _shares(counterpart, named.get(counterpart)):
            labels.setdefault(casting, (label, url))
            uses.append(Use(casting, lot, material, quantity * share))
    found = casting_costs(uses, prices)
    return tuple(
        NamedCost(*labels[name], cost)
        for name, cost in sorted(found.items(), key=lambda x: labels[x[0]][0])
        if cost.lines
    )


def _counterparts(site: Site, start: datetime, end: datetime) -> set[str]:
    rows = Movement.objects.filter(
        site=site, kind=MovementKind.ISSUE, happened_at__gte=start, happened_at__lt=end
    )
    return set(rows.values_list("counterpart", flat=True).distinct())


def _used(
    site: Site, counterparts: Iterable[str]
) -> list[tuple[str, str, str, Decimal | None, str | None, Decimal]]:
    """Return what went to each counterpart by lot, corrections taken off."""
    rows = (
        Movement.objects.filter(site=site, counterpart__in=list(counterparts))
        .filter(Q(kind=MovementKind.ISSUE) | Q(reverses__kind=MovementKind.ISSUE))
        .values_list(
            "counterpart",
            "container__lot",
            "container__lot__code",
            "container__lot__material__code",
            "container__lot__unit_cost",
            "container__lot__supplier__currency",
        )
        .annotate(total=exact_sum("quantity"))
        .order_by()
    )
    name = _Names()
    return [
        (c, name(pk, f"{m} {code}"), m, price, cur, -total)
        for c, pk, code, m, price, cur, total in rows
    ]


class _Names:
    """Names for lots; two suppliers may give two lots of a material the same code."""

    def __init__(self) -> None:
        self.taken: dict[str, int] = {}

    def __call__(self, pk: int, name: str) -> str:
        return name if self.taken.setdefault(name, pk) == pk else f"{name} ({pk})"


def _in_words(counterpart: str) -> str:
    return counterpart.removeprefix("other:").replace(":", " ")


def _shares(counterpart: str, use: providers.Use | None) -> list[tuple[str, str, str, Decimal]]:
    """Return castings a use went into, with their names and their share of it."""
    if use is None or not use.parts:
        label, url = (use.label, use.url) if use else (_in_words(counterpart), "")
        return [(counterpart, label, url, Decimal(1))]
    masses = [part.mass_kg or ZERO for part in use.parts]
    whole = sum(masses, ZERO)
    equal = Decimal(1) / len(masses)
    return [
        (part.casting, part.label, "", mass / whole if whole else equal)
        for part, mass in zip(use.parts, masses, strict=True)
    ]


def losses(site: Site, first: date, last: date) -> tuple[MonthLoss, ...]:
    """
    Return what left stock without going into a casting, by month, material and reason.

    A correction belongs to the day of the movement it undoes.
    """
    start, end = clock.day_start(first, site), clock.day_end(last, site)
    own = Q(kind__in=LOST, happened_at__gte=start, happened_at__lt=end)
    undone = Q(
        reverses__kind__in=LOST,
        reverses__happened_at__gte=start,
        reverses__happened_at__lt=end,
    )
    rows = (
        Movement.objects.filter(own | undone, site=site)
        .annotate(
            what=Coalesce("reverses__kind", "kind"),
            at=Coalesce("reverses__happened_at", "happened_at"),
        )
        .values_list(
            "what",
            "at",
            "quantity",
            "container__lot",
            "container__lot__code",
            "container__lot__expires_on",
            "container__lot__material__code",
            "container__lot__unit_cost",
            "container__lot__supplier__currency",
        )
    )
    found, prices, name = [], {}, _Names()
    for what, at, quantity, pk, code, until, material, price, currency in rows:
        day, lot = clock.local(at, site).date(), name(pk, f"{material} {code}")
        if price is not None:
            prices[lot] = LotPrice(price, currency or home_currency())
        stale = what == MovementKind.SCRAP and until is not None and until < day
        found.append(Loss(day, lot, material, -quantity, "expired" if stale else WORDS[what]))
    return losses_by_month(found, prices)


def stale_stock(site: Site, today: date) -> tuple[StaleStock, ...]:
    """Return what is out of date by its label and still on the shelf, by material."""
    rows = (
        Container.objects.filter(lot__site=site, balance__gt=0, lot__expires_on__lt=today)
        .exclude(lot__status=LotStatus.FINISHED)
        .values_list(
            "lot__material__code",
            "lot__material__unit",
            "lot__supplier__currency",
            "lot__unit_cost",
        )
        .annotate(total=exact_sum("balance"))
        .order_by()
    )
    summed: dict[tuple[str, str, str], tuple[Decimal, Decimal | None]] = defaultdict(
        lambda: (ZERO, ZERO)
    )
    for material, unit, currency, price, total in rows:
        key = (material, unit, currency or home_currency())
        quantity, cost = summed[key]
        priced = None if price is None or cost is None else cost + price * total
        summed[key] = (quantity + total, priced)
    return tuple(
        StaleStock(
            material, unit, quantity.quantize(STEP), None if cost is None else round(cost, 2), cur
        )
        for (material, unit, cur), (quantity, cost) in sorted(summed.items())
    )
