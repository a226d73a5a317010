"""The lot of goods that come from another site: never longer lived or freer than it was there."""

from __future__ import annotations

from decimal import Decimal

from shared import clock
from shared.access.models import Site
from shop.ledger.genealogy import with_ancestors
from shop.lots.models import Lot, LotStatus
from shop.recalls.queries import in_force
from shop.sums import exact_sum

KEPT = (
    "made_on", "expires_on", "unit_cost", "certificate", "retested_on", "retest_evidence",
    "retested_by", "expiry_note", "mixed",
)  # fmt: skip
"""What goes along with the goods."""
WORST = (LotStatus.RELEASED, LotStatus.QUARANTINE, LotStatus.HELD)


def lot_at(site: Site, sent: Lot, quantity: Decimal) -> Lot:
    """
    Return the lot of goods at the site they came to, under lock.

    Where the site has the lot already, the earlier expiry and the worse state of the two hold,
    and its price is the mean by quantity.
    """
    status, reason = _status(site, sent)
    day = clock.today(site)
    code = _code(site, sent)
    found, new = Lot.objects.select_for_update(no_key=True).get_or_create(
        site=site, material=sent.material, supplier=sent.supplier, code__iexact=code,
        defaults={
            "code": code, "received_on": day, "status": status, "status_reason": reason,
            "status_at": clock.now(), **{name: getattr(sent, name) for name in KEPT},
        },
    )  # fmt: skip
    if not new:
        _join(found, sent, status, reason, quantity)
    return found


def _code(site: Site, sent: Lot) -> str:
    """Return the code; that of a mixed lot may mean another mixture at the other site."""
    if not sent.mixed:
        return sent.code
    back = Lot.objects.filter(pk__in=with_ancestors([sent.pk]), site=site, mixed=True)
    known = back.filter(material=sent.material).order_by("pk").first()
    return known.code if known else f"{sent.code[:30]}@{sent.site.code}"[:40]


def _status(site: Site, sent: Lot) -> tuple[str, str]:
    recall = in_force(site_id=site.pk, material_id=sent.material_id, lot_code=sent.code).first()
    if recall is not None:
        return LotStatus.HELD, f"recalled: {recall.reason}"[:200]
    if sent.status == LotStatus.FINISHED:
        return LotStatus.QUARANTINE, f"was finished at {sent.site}; check it before use"
    if sent.status == LotStatus.RELEASED:
        return LotStatus.RELEASED, ""
    return sent.status, sent.status_reason or f"as at {sent.site}"


def _join(found: Lot, sent: Lot, status: str, reason: str, quantity: Decimal) -> None:
    known = [day for day in (found.expires_on, sent.expires_on) if day is not None]
    found.expires_on = min(known, default=None)
    if found.status == LotStatus.FINISHED or _worse(status, found.status):
        found.status, found.status_reason, found.status_at = status, reason, clock.now()
    held = found.containers.aggregate(total=exact_sum("balance"))["total"]
    if found.unit_cost is None:
        found.unit_cost = sent.unit_cost
    elif sent.unit_cost is not None:
        paid = found.unit_cost * held + sent.unit_cost * quantity
        found.unit_cost = (paid / (held + quantity)).quantize(Decimal("0.0001"))
    found.version += 1
    found.save()


def _worse(one: str, other: str) -> bool:
    ranks = {state: n for n, state in enumerate(WORST)}
    return ranks.get(LotStatus(one), 0) > ranks.get(LotStatus(other), 0)
