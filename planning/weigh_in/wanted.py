"""What planned pots still want set aside, for the audit of the stores."""

from __future__ import annotations

from decimal import Decimal

from django.db.models import F

from planning.batches.lines import purpose
from planning.batches.models import BatchLine, BatchStatus, Weighing


def wanted_stock() -> dict[str, Decimal]:
    """
    Return each purpose with the mass it still wants reserved, kg; three queries.

    A row of which another container was used has given its reservation back.
    """
    waiting = [BatchStatus.PLANNED, BatchStatus.WEIGHING]
    lines = BatchLine.objects.filter(batch__status__in=waiting)
    weighings = Weighing.objects.filter(line__batch__status__in=waiting)
    elsewhere = set(
        weighings.exclude(container=F("line__container")).values_list("line", flat=True)
    )
    weighed: dict[int, Decimal] = {}
    for row in weighings.prefetch_related("amendments"):
        weighed[row.line_id] = weighed.get(row.line_id, Decimal(0)) + row.kg
    found = {
        purpose(line): line.target_kg - weighed.get(line.pk, Decimal(0))
        for line in lines
        if line.pk not in elsewhere
    }
    return {text: kg for text, kg in found.items() if kg > 0}
