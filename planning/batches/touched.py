"""What planned work a change of a resin system touches, told to the catalogue when it asks."""

from __future__ import annotations

from django.db.models import Count, Max, Min, Q

from planning.batches.models import Batch, BatchStatus

OPEN = (BatchStatus.PLANNED, BatchStatus.WEIGHING, BatchStatus.WEIGHED)
"""More is weighed into these."""


def batches_of_system(register: str, row_id: int) -> list[str]:
    """Return a line for each site with planned batches of a resin system; none of other rows."""
    if register == "shop.resinsystem:ever":
        count = Batch.objects.filter(system_id=row_id).count()
        return [f"{count} batches"] if count else []
    if register != "shop.resinsystem":
        return []
    rows = (
        Batch.objects.filter(system_id=row_id, status__in=OPEN)
        .values("site__name")
        .annotate(
            count=Count("pk"),
            printed=Count("pk", filter=Q(printed_at__isnull=False)),
            first=Min("planned_start"),
            last=Max("planned_start"),
        )
        .order_by("site__name")
    )
    return [
        f"{row['site__name']}: {row['count']} planned batches from {row['first']:%d %B} to "
        f"{row['last']:%d %B %Y}, {row['printed']} of them on a printed sheet"
        for row in rows
    ]
