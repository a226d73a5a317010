"""Writes to the record of hazardous waste; each is all or nothing and safe to repeat."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.db import IntegrityError, transaction

from shared import clock
from shared.access.models import Site, User
from shared.errors import Invalid
from shared.times import happened
from shop.errors import KeyReused
from shop.lots.models import Lot
from shop.trace.providers import uses
from shop.waste.models import WasteEntry, WasteKind, WasteWithdrawal

MOST_KG = Decimal(10_000)
"""No one entry reaches it: more is a slip of the keyboard. Chosen here, no source."""


@transaction.atomic
def enter(
    *,
    site: Site,
    kind: str,
    mass_kg: Decimal,
    key: str,
    at: datetime | None = None,
    by: User | None = None,
    lot: Lot | None = None,
    counterpart: str = "",
    words: str = "",
) -> WasteEntry:
    """
    Write down what went into hazardous waste; a repeat of the key returns the first.

    Raises
    ------
    Invalid
        By field: the mass is none or a slip, the lot is another site's, nobody knows what it is
        left over from, or ``other`` comes without words.
    """
    earlier = WasteEntry.objects.filter(key=key).first()
    if earlier is not None:
        if (earlier.kind, earlier.mass_kg, earlier.site_id) != (kind, mass_kg, site.pk):
            raise KeyReused(f"The key {key} was used for another entry; use a new key.", key=key)
        return earlier
    _refuse_kind(kind, words)
    _refuse_mass(mass_kg)
    if lot is not None and lot.site_id != site.pk:
        said = f"lot is {lot.code}; it lies at another site."
        raise Invalid.one("lot", "other_site", said, value=lot.code)
    if counterpart:
        _refuse_unknown(site, counterpart)
    now = clock.now()
    return WasteEntry.objects.create(
        site=site, key=key, kind=kind, mass_kg=mass_kg, at=happened(at, now=now, site=site),
        recorded_at=now, by=by, lot=lot, counterpart=counterpart, words=words,
    )  # fmt: skip


def withdraw(*, entry: WasteEntry, words: str, by: User | None = None) -> WasteWithdrawal:
    """Take back an entry that was wrong, once, with the reason."""
    if not words:
        raise Invalid.one("words", "required", "words is empty; say why it is withdrawn.")
    try:
        with transaction.atomic():
            return WasteWithdrawal.objects.create(entry=entry, at=clock.now(), by=by, words=words)
    except IntegrityError:
        raise Invalid.one("words", "unchanged", "The entry is withdrawn already.") from None


def _refuse_kind(kind: str, words: str) -> None:
    if kind not in WasteKind.values:
        said = f"kind is {kind[:40]!r}; it must be one of {', '.join(WasteKind.values)}."
        raise Invalid.one("kind", "invalid_choice", said, value=kind[:40])
    if kind == WasteKind.OTHER and not words:
        raise Invalid.one("words", "required", "words is empty; say what it is.")


def _refuse_mass(mass_kg: Decimal) -> None:
    if not Decimal(0) < mass_kg < MOST_KG or mass_kg != mass_kg.quantize(Decimal("0.0001")):
        said = f"mass_kg is {mass_kg} kg; give above 0 and below {MOST_KG:,} kg, to 0.0001 kg."
        raise Invalid.one("mass_kg", "out_of_range", said, value=mass_kg, limit=MOST_KG, unit="kg")


def _refuse_unknown(site: Site, counterpart: str) -> None:
    use = uses([counterpart]).get(counterpart)
    if use is None or (use.site_id is not None and use.site_id != site.pk):
        said = (
            f"counterpart is {counterpart[:60]!r}; give what it is left over from as batch:7, "
            "pour:7 or tool:7, of this site, or leave it out."
        )
        raise Invalid.one("counterpart", "does_not_exist", said, value=counterpart[:60])
