"""Telling others what is foreseen: shortages, lots that soon expire, tools to be replaced."""

from __future__ import annotations

from datetime import timedelta

from shared import clock
from shared.access.models import Site
from shared.events import actions as events
from shared.events.kinds import EventKind, ObjectKind
from shared.retry import retried
from shop import telling
from shop.lots.models import Lot
from shop.lots.soon import soon_unusable
from shop.materials.models import Material
from shop.outlook import queries as outlook
from shop.tools.life import wanting_replacement

LOT_LEAD = timedelta(days=14)
"""As long before as people are reminded."""


def tell_all() -> int:
    """Tell at each site what is foreseen and was not told; return how many events that made."""
    return sum(tell(site=site) for site in Site.objects.order_by("pk"))


@retried
def tell(*, site: Site) -> int:
    """Tell what is foreseen at a site and was not told; a second call tells nothing."""
    # Two rounds at once would both tell the same.
    Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    return _shortages(site) + _expiring(site) + _replacements(site)


def _shortages(site: Site) -> int:
    short = {str(r.material.pk): r for r in outlook.rows(site) if r.first_short_on}
    last = telling.last_of(site, [EventKind.SHORT, EventKind.ENOUGH])
    told = {pk for pk, event in last.items() if event.kind == EventKind.SHORT}
    for pk in sorted(short.keys() - told):
        row = short[pk]
        new = {"short_on": row.first_short_on, "quantity": f"{row.short:.4f}"}
        telling.of_material(EventKind.SHORT, site, row.material, new=new)
    cleared = Material.objects.filter(pk__in=told - short.keys()).order_by("pk")
    for material in cleared:
        old = last[str(material.pk)].payload["new"]
        telling.of_material(EventKind.ENOUGH, site, material, old=old)
    return len(short.keys() - told) + len(cleared)


def _expiring(site: Site) -> int:
    found = soon_unusable(clock.now() + LOT_LEAD)
    until = {str(info.lot_id): info.usable_until for at, info in found if at == site.pk}
    new = until.keys() - telling.last_of(site, [EventKind.EXPIRING]).keys()
    lots = Lot.objects.filter(pk__in=new).select_related("site", "material").order_by("pk")
    for lot in lots:
        telling.of_lot(EventKind.EXPIRING, lot, new={"usable_until": until[str(lot.pk)]})
    return len(lots)


def _replacements(site: Site) -> int:
    told = telling.last_of(site, [EventKind.REPLACE])
    count = 0
    for state in wanting_replacement(site, clock.today(site)):
        if str(state.tool.pk) in told or state.ahead is None:
            continue
        count += 1
        events.add(
            site=site,
            object_kind=ObjectKind.TOOL,
            object_id=state.tool.pk,
            kind=EventKind.REPLACE,
            at=clock.now(),
            facts={"tool": state.tool.code},
            new={"cast_by": state.ahead.cast_by},
        )
    return count
