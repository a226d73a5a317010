"""When the last person leaves the shop on a day."""

from __future__ import annotations

from datetime import datetime

from shared import clock
from shared.access.models import Site
from shop import stores


def last_out(site: Site, moment: datetime) -> datetime | None:
    """Return when the last shift of the day of `moment` ends; None when nobody works after it."""
    day = clock.local(moment, site).date()
    ends = [end for person in stores.site_week(site.pk, day, 1).people for _, end in person.shifts]
    last = max(ends, default=None)
    return last if last is not None and last > moment else None
