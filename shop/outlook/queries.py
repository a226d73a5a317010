"""
From the database to the outlook of each material: a constant number of queries, however many.

Sealed stock is summed by material and expiry in the database, so that a hundred thousand lots come
over as some thousand sums. Opened and reserved containers come one by one: each has a clock or
a claim of its own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Q
from django.db.models.functions import TruncDate

from shared import clock
from shared.access.models import Site
from shop.consignments.queries import coming
from shop.core.outlook import MaterialOutlook, Supply, Use, project
from shop.core.supplier_calendar import SupplierCalendar
from shop.ledger.models import Requirement, Reservation
from shop.lots.models import Container, LotStatus
from shop.lots.queries import clocks
from shop.materials.models import Material, Pack
from shop.purchasing import queries as purchasing
from shop.sums import exact_sum
from shop.tools.coat_forecast import forecast

USUAL_DAYS = 90
MOST_DAYS = 730
RESCUE_DAYS = 28


@dataclass(frozen=True)
class Source:
    """The supplier a material usually comes from, and how long that takes."""

    supplier_id: int
    supplier: str
    lead_days: int
    calendar: SupplierCalendar


@dataclass(frozen=True)
class Row:
    """One material's outlook with what people ask beside it."""

    material: Material
    outlook: MaterialOutlook
    source: Source | None
    last_order_on: date | None
    not_released: Decimal
    """In quarantine or held: there, but not counted."""

    @property
    def due_in(self) -> float:
        """What comes in over the horizon."""
        return self.outlook.due_in

    @property
    def wanted(self) -> float:
        """What pours and steps take over the horizon."""
        return self.outlook.wanted

    @property
    def short(self) -> float:
        """What pours could not get on their day."""
        return self.outlook.short_of

    @property
    def too_late(self) -> bool:
        """Whether an ordinary order can no longer prevent the first shortage."""
        return self.last_order_on is not None and self.last_order_on < self.outlook.start

    @property
    def first_short_on(self) -> date | None:
        """The first day a pour goes short."""
        return self.outlook.first_short_day

    @property
    def first_expiry_on(self) -> date | None:
        """The first day on which something expires unused."""
        return self.outlook.at_risk[0].usable_until if self.outlook.at_risk else None

    @property
    def state(self) -> str:
        """``short``, ``expiring`` or ``ok``, the worst first."""
        if self.first_short_on:
            return "short"
        return "expiring" if self.outlook.at_risk else "ok"


@dataclass
class Stock:
    """What is there, due and wanted of one material, ready to be projected."""

    supplies: list[Supply] = field(default_factory=list)
    uses: list[Use] = field(default_factory=list)
    not_released: Decimal = Decimal(0)


def rows(
    site: Site, *, days: int = USUAL_DAYS, material_ids: Iterable[int] | None = None
) -> tuple[Row, ...]:
    """
    Return the outlook of every material that has stock, needs or receipts, by code.

    With `material_ids` only those, each lot by itself so that lots at risk can be named.
    """
    today = clock.today(site)
    wanted = None if material_ids is None else list(material_ids)
    found = stock(site, today, wanted)
    materials = Material.objects.filter(pk__in=found.keys() if wanted is None else wanted)
    sources = usual_sources(m.pk for m in materials)
    result = []
    for material in materials:
        one = found.get(material.pk, Stock())
        # Rescues are looked for only where lots have names.
        rescue = 0 if wanted is None else RESCUE_DAYS
        ahead = project(one.supplies, one.uses, start=today, days=days, rescue_days=rescue)
        source = sources.get(material.pk)
        last = None
        if ahead.first_short_day and source:
            last = source.calendar.last_order(ahead.first_short_day, source.lead_days)
        result.append(Row(material, ahead, source, last, one.not_released))
    return tuple(sorted(result, key=lambda row: row.material.code))


def stock(site: Site, today: date, material_ids: list[int] | None = None) -> dict[int, Stock]:
    """Read supplies and uses of every material at a site; a constant number of queries."""
    found: dict[int, Stock] = defaultdict(Stock)
    _sealed(site, found, material_ids)
    _by_container(site, found, material_ids)
    _reserved(site, found, material_ids)
    _required(site, found, material_ids)
    _coats(site, found, material_ids, today)
    for due in purchasing.due(site.pk, material_ids):
        found[due.material_id].supplies.append(
            Supply(
                f"{due.order_number}",
                float(due.quantity),
                purchasing.usable_on_arrival(max(due.due_on, today), due.shelf_life_months),
                due_on=due.due_on,
            )
        )
    for sent in coming(site, material_ids):
        found[sent.material_id].supplies.append(
            Supply(
                sent.number, float(sent.quantity), sent.usable_until,
                due_on=max(sent.due_on, today),
            )
        )  # fmt: skip
    return found


def _sealed(site: Site, found: dict[int, Stock], material_ids: list[int] | None) -> None:
    """Sum sealed stock that nothing is reserved from."""
    rows = Container.objects.filter(
        lot__site=site, balance__gt=0, opened_at__isnull=True, reserved=0, consignment=None
    )
    names = ["lot__material", "lot__status", "lot__expires_on"]
    if material_ids is not None:
        rows = rows.filter(lot__material__in=material_ids)
        names.append("lot__code")
    sums = rows.order_by().values_list(*names).annotate(total=exact_sum("balance"))
    for material, status, until, *lot, total in sums:
        if status != LotStatus.RELEASED:
            found[material].not_released += total
        else:
            code = lot[0] if lot else sealed_code(until)
            found[material].supplies.append(Supply(code, float(total), until))


def _by_container(site: Site, found: dict[int, Stock], material_ids: list[int] | None) -> None:
    """Read one by one what has a clock or a reservation of its own."""
    rows = Container.objects.filter(
        Q(opened_at__isnull=False) | Q(reserved__gt=0),
        lot__site=site,
        balance__gt=0,
        consignment=None,
    ).select_related("lot__site", "lot__material")
    if material_ids is not None:
        rows = rows.filter(lot__material__in=material_ids)
    for row in rows:
        if row.lot.status != LotStatus.RELEASED:
            found[row.lot.material_id].not_released += row.balance
            continue
        found[row.lot.material_id].supplies.append(
            Supply(
                row.lot.code,
                float(row.balance),
                clocks(row).until,
                opened=row.opened_at is not None,
                claimed_as=_claim(row.pk),
            )
        )


def _claim(container_id: int) -> str:
    return f"container {container_id}"


def _reserved(site: Site, found: dict[int, Stock], material_ids: list[int] | None) -> None:
    rows = Reservation.objects.filter(container__lot__site=site)
    if material_ids is not None:
        rows = rows.filter(container__lot__material__in=material_ids)
    listed = rows.order_by().values_list(
        "container__lot__material", "container", "purpose", "needed_at", "quantity"
    )
    for material, container, purpose, needed_at, quantity in listed:
        day = clock.local(needed_at, site).date()
        use = Use(day, float(quantity), _named(purpose), _claim(container))
        found[material].uses.append(use)


def sealed_code(until: date | None) -> str:
    """Name sealed stock that is summed over lots."""
    return f"lots to {until.isoformat()}" if until else "lots without expiry"


def _named(purpose: str) -> str:
    """Name a reservation by what it is for: batch:7:2 is a line of batch 7."""
    kind, _, rest = purpose.partition(":")
    return f"{kind} {rest.partition(':')[0]}".strip()


def _required(site: Site, found: dict[int, Stock], material_ids: list[int] | None) -> None:
    rows = Requirement.objects.filter(site=site)
    if material_ids is not None:
        rows = rows.filter(material__in=material_ids)
    sums = (
        rows.annotate(day=TruncDate("needed_at", tzinfo=clock.zone(site.time_zone)))
        .order_by()
        .values_list("material", "day", "label")
        .annotate(total=exact_sum("quantity"))
    )
    for material, day, label, total in sums:
        found[material].uses.append(Use(day, float(total), label))


def _coats(
    site: Site, found: dict[int, Stock], material_ids: list[int] | None, today: date
) -> None:
    """Foresee what re-coats of tools in use take."""
    for need in forecast(site, today).needs:
        if material_ids is None or need.material_id in material_ids:
            use = Use(need.day, need.quantity, f"coats on {need.tool.code}")
            found[need.material_id].uses.append(use)


def usual_sources(material_ids: Iterable[int]) -> dict[int, Source]:
    """Return where each material usually comes from: the supplier whose goods come soonest."""
    packs = (
        Pack.objects.filter(material__in=list(material_ids))
        .select_related("supplier")
        .prefetch_related("supplier__closures")
        .order_by("supplier", "pk")
    )
    found: dict[int, Source] = {}
    for pack in packs:
        supplier = pack.supplier
        own = pack.lead_time_days
        days = supplier.lead_time_days if own is None else own
        if pack.material_id not in found or days < found[pack.material_id].lead_days:
            source = Source(supplier.pk, supplier.name, days, supplier.calendar())
            found[pack.material_id] = source
    return found


def day_list(outlook: MaterialOutlook) -> list[date]:
    """Return the days of an outlook."""
    return [outlook.start + timedelta(days=n) for n in range(len(outlook.projected))]
