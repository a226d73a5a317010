"""Reading counts: what is still to be counted, and what differs once all is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db.models import Max, Q, QuerySet

from shared.access.models import Site
from shop.counting.models import CountLine, CountStatus, CycleCount
from shop.sites.models import Location


def lines_of(count: CycleCount) -> QuerySet[CountLine]:
    """Return the lines of a count with what their figures are shown in."""
    rows = CountLine.objects.filter(count=count)
    return rows.select_related(
        "container__lot__material", "container__location", "first_by", "second_by"
    )


def open_lines(count: CycleCount) -> QuerySet[CountLine]:
    """Return the lines that still want a figure, the first or the second."""
    missing = Q(first__isnull=True) | Q(second_wanted=True, second__isnull=True)
    return lines_of(count).filter(missing)


def is_complete(count: CycleCount) -> bool:
    """Tell whether every container has all the figures it wants."""
    return not open_lines(count).exists()


def counted(line: CountLine) -> Decimal:
    """Return the figure that holds: the second where there is one."""
    figure = line.first if line.second is None else line.second
    if figure is None:
        raise ValueError(f"line {line.pk} has not been counted")
    return figure


def variance(line: CountLine) -> Decimal:
    """Return what was counted less what the ledger held then."""
    return counted(line) - (line.expected or Decimal(0))


@dataclass(frozen=True)
class ShelfTurn:
    """A shelf and when it was counted last."""

    location: Location
    counted_at: datetime | None


def shelves_in_turn(site: Site) -> list[ShelfTurn]:
    """Return the shelves, longest uncounted first."""
    approved = Max("counts__approved_at", filter=Q(counts__status=CountStatus.APPROVED))
    rows = Location.objects.filter(site=site, in_use=True).annotate(last=approved)
    turns = [ShelfTurn(row, row.last) for row in rows]
    return sorted(turns, key=lambda t: (t.counted_at is not None, t.counted_at, t.location.code))
