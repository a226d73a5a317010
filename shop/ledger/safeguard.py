"""Stopping what can no longer be trusted: a lot whose balance differs from its ledger."""

from __future__ import annotations

import logging

from shop.ledger.audit import differences
from shop.lots.actions import hold
from shop.lots.models import Lot

log = logging.getLogger(__name__)


def stop_differing_lots() -> int:
    """Hold every lot of which two records differ, tell the log, and return the differences."""
    found = differences()
    for one in found:
        log.error("stock differs: %s: %s: %s", one.kind, one.where, one.words)
    wrong = {one.lot_id for one in found if one.lot_id is not None}
    there = Lot.objects.filter(pk__in=wrong)
    hold(
        there.values_list("pk", flat=True),
        reason="the nightly audit found a difference; count it and tell an administrator",
    )
    return len(found)
