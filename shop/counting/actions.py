"""Counting a shelf blind, a second look where it differs, booking on approval by a third eye."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.db.models import F

from shared.access.models import User
from shared.errors import Invalid
from shared.retry import retried
from shop.counting import queries
from shop.counting.models import CountLine, CountStatus, CycleCount
from shop.errors import NotFound, Refused
from shop.ledger.actions import adjust
from shop.ledger.posting import LARGEST, STEP
from shop.lots.actions import place
from shop.lots.models import Container
from shop.sites.models import Location


class CountNotOpen(Refused):
    own_code = "count_not_open"


class SameCounter(Refused):
    """Somebody would check their own work."""

    own_code = "same_counter"


class CountIncomplete(Refused):
    own_code = "count_incomplete"


@retried
def start(*, location: Location, by: User, at: datetime, tolerance_percent: Decimal) -> CycleCount:
    """Begin a count of all that the records have on a shelf."""
    if CycleCount.objects.filter(location=location, status=CountStatus.OPEN).exists():
        raise Refused(f"{location.name} is being counted already.", location=location.code)
    count = CycleCount(
        site=location.site,
        location=location,
        started_at=at,
        started_by=by,
        tolerance_percent=tolerance_percent,
    )
    count.full_clean()
    count.save()
    held = Container.objects.filter(location=location, balance__gt=0)
    CountLine.objects.bulk_create(CountLine(count=count, container=row) for row in held)
    return count


@retried
def write_down(
    *, count_id: int, container_id: int, figure: Decimal, by: User, at: datetime
) -> CountLine:
    """
    Write down what was counted in one container.

    A first figure outside the tolerance wants a second one, from somebody else. A container that
    the records have elsewhere joins the count. Nothing is told of what the records say.
    """
    count = _open(count_id)
    if (
        not figure.is_finite()
        or figure < 0
        or figure >= LARGEST
        or figure != figure.quantize(STEP)
    ):
        words = f"figure is {figure}; it must be 0 or more with at most 4 decimals."
        raise Invalid.one("figure", "not_decimal", words, value=figure, limit=0)
    container = Container.objects.filter(pk=container_id, lot__site=count.site_id).first()
    if container is None:
        raise NotFound(f"There is no container {container_id} at this site.")
    line, _ = CountLine.objects.select_for_update(no_key=True).get_or_create(
        count=count,
        container=container,
        defaults={"found_here": container.location_id != count.location_id},
    )
    if line.first is None:
        line.first, line.first_by, line.first_at = figure, by, at
        allowed = container.balance * count.tolerance_percent / 100
        line.second_wanted = abs(figure - container.balance) > allowed
    elif line.second_wanted and line.second is None:
        if line.first_by_id == by.pk:
            words = f"You counted {container.code} first; somebody else must count it again."
            raise SameCounter(words, container=container.code)
        line.second, line.second_by, line.second_at = figure, by, at
    else:
        raise Refused(f"{container.code} is counted; nothing more is wanted of it.")
    line.expected = container.balance
    line.save()
    return line


@retried
def approve(*, count_id: int, by: User, at: datetime) -> CycleCount:
    """Book every difference and set the shelves right; only by somebody who did not count."""
    count = _open(count_id)
    lines = list(queries.lines_of(count).order_by("container"))
    waiting = queries.open_lines(count).count()
    if waiting:
        raise CountIncomplete(f"{waiting} containers still want a figure.", waiting=waiting)
    if any(by.pk in (line.first_by_id, line.second_by_id) for line in lines):
        raise SameCounter("You counted on this shelf; somebody else must approve it.")
    for line in lines:
        adjust(
            container_id=line.container_id,
            counted=queries.counted(line),
            expected=line.expected or Decimal(0),
            key=f"count:{count.pk}:{line.pk}",
            happened_at=line.second_at or line.first_at or at,
            by=by,
            reason=f"count of {count.location.name}",
        )
        if line.found_here:
            place(line.container_id, location=count.location, at=at, by=by)
    return _close(count, CountStatus.APPROVED, by, at)


@retried
def cancel(*, count_id: int, by: User, at: datetime) -> CycleCount:
    """Give a count up; nothing is booked."""
    return _close(_open(count_id), CountStatus.CANCELLED, by, at)


def _close(count: CycleCount, status: CountStatus, by: User, at: datetime) -> CycleCount:
    CycleCount.objects.filter(pk=count.pk).update(
        status=status, approved_by=by, approved_at=at, version=F("version") + 1
    )
    count.refresh_from_db()
    return count


def _open(count_id: int) -> CycleCount:
    rows = CycleCount.objects.select_for_update(of=("self",), no_key=True)
    count = rows.select_related("location", "site").filter(pk=count_id).first()
    if count is None:
        raise NotFound(f"There is no count {count_id}.")
    if count.status != CountStatus.OPEN:
        raise CountNotOpen(f"The count is {count.get_status_display().lower()} already.")
    return count
