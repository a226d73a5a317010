"""Which things of the shop carry codes: cans, lots, tools, shelves and places."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from django.db.models import Q, QuerySet
from django.urls import reverse

from shared import clock
from shared.access.models import Site
from shared.codes.finding import Found, Kind, register
from shop.core.gs1 import Gs1Error
from shop.core.gs1_label import Label, read_label
from shop.lots.models import Container, Lot
from shop.sites.models import Location, Place
from shop.tools.models import Tool

MOST = 20
"""Of one code; a person then chooses by hand."""


def _can(row: Container) -> Found:
    address = f"{reverse('lot', args=[row.lot_id])}?container={row.pk}"
    return Found("can", row.pk, row.code, f"can {row.code} of {row.lot.material.name}", address)


def _lot(row: Lot) -> Found:
    words = f"lot {row.code} of {row.material.name}"
    return Found("lot", row.pk, row.code, words, reverse("lot", args=[row.pk]))


def _tool(row: Tool) -> Found:
    words = f"tool {row.code}, {row.name}"
    return Found("tool", row.pk, row.code, words, reverse("tool", args=[row.pk]))


def _shelf(row: Location) -> Found:
    address = f"{reverse('lots')}?{urlencode({'shelf': row.pk})}"
    return Found("shelf", row.pk, row.code, f"shelf {row.name}", address)


def _place(row: Place) -> Found:
    address = f"{reverse('setup-register', args=['places'])}?{urlencode({'q': row.code})}"
    return Found("place", row.pk, row.code, f"place {row.name}", address)


def _cans(site: Site) -> QuerySet[Container]:
    return Container.objects.filter(lot__site=site).select_related("lot__material")


def _lots(site: Site) -> QuerySet[Lot]:
    return Lot.objects.filter(site=site).select_related("material")


def _coded(rows: Any, text: str) -> list[Any]:
    """Return the rows of exactly that code, else those that differ in capitals only."""
    return list(rows.filter(code=text)[:MOST]) or list(rows.filter(code__iexact=text)[:MOST])


def _label(text: str, site: Site) -> Label | None:
    """Read a supplier's label as far as it names a lot."""
    try:
        label = read_label(text, clock.today(site))
    except Gs1Error:
        return None
    return label if label.lot else None


def _labelled_lots(site: Site, text: str) -> list[Lot]:
    label = _label(text, site)
    if label is None:
        return []
    rows = _lots(site).filter(code__iexact=label.lot)
    if label.gtin:
        short = label.gtin.lstrip("0")
        same = {short.zfill(n) for n in (8, 12, 13, 14) if len(short) <= n}
        of_item = rows.filter(material__packs__gtin__in=same).distinct()
        # A pack that was never entered must not hide the one lot of that code.
        rows = of_item if of_item.exists() else rows
    return list(rows[:MOST])


def _labelled_cans(site: Site, text: str) -> list[Container]:
    """Return the can that a label numbers, else those of its lot that still hold something."""
    lots = _labelled_lots(site, text)
    rows = _cans(site).filter(lot__in=lots)
    label = _label(text, site)
    if label is not None and label.serial and (one := rows.filter(code=label.serial).first()):
        return [one]
    return list(rows.filter(balance__gt=0).order_by("pk")[:MOST])


def _by(model: Any, show: Any, by_site: str = "site", **related: str) -> Any:
    """Return a finder by number for a model."""

    def finder(site: Site, number: int) -> Found | None:
        rows = model.objects.filter(Q(**{by_site: site}), pk=number)
        row = rows.select_related(*related.values()).first()
        return None if row is None else show(row)

    return finder


def register_kinds() -> None:
    """Tell the search by code what the shop has; lots come first, so that a label means them."""

    def each(show: Any, rows: Sequence[Any]) -> list[Found]:
        return [show(row) for row in rows]

    register(
        Kind(
            "lot", "L", "lots:read", _by(Lot, _lot, material="material"),
            lambda site, text: each(_lot, _coded(_lots(site), text)), r"/stock/lots/(\d{1,18})",
            lambda site, text: each(_lot, _labelled_lots(site, text)),
        )
    )  # fmt: skip
    register(
        Kind(
            "can", "C", "lots:read", _by(Container, _can, "lot__site", material="lot__material"),
            lambda site, text: each(_can, _coded(_cans(site), text)),
            r"/stock/containers/(\d{1,18})",
            lambda site, text: each(_can, _labelled_cans(site, text)),
        )
    )  # fmt: skip
    for name, letter, scope, model, show, path in (
        ("tool", "T", "tools:read", Tool, _tool, r"/tools/(\d{1,18})"),
        ("shelf", "S", "sites:read", Location, _shelf, r"/setup/shelves/(\d{1,18})"),
        ("place", "P", "sites:read", Place, _place, r"/setup/places/(\d{1,18})"),
    ):
        register(Kind(name, letter, scope, _by(model, show), _finder(model, show), path))


def _finder(model: Any, show: Any) -> Any:
    def by_text(site: Site, text: str) -> list[Found]:
        return [show(row) for row in _coded(model.objects.filter(site=site), text)]

    return by_text
