"""What hangs on somebody who leaves: batches and steps planned for them."""

from __future__ import annotations

from collections.abc import Iterator

from planning.batches.models import Batch, BatchStatus
from planning.pours.models import PourStep
from shared import clock
from shared.access.models import User
from shared.sign_in.leaving import MOST_LISTED, Tie

OPEN = (BatchStatus.PLANNED, BatchStatus.WEIGHING, BatchStatus.WEIGHED, BatchStatus.MIXING)


def planned_work(person: User) -> Iterator[Tie]:
    """Yield the open batches and the steps not done that are planned for a person."""
    batches = Batch.objects.filter(people__user=person, status__in=OPEN).select_related("site")
    for batch in batches.distinct()[:MOST_LISTED]:
        begins = clock.local(batch.planned_start, batch.site)
        words = (
            f"Batch {batch.number}, {batch.get_status_display().lower()}, {begins:%a %d %b %H:%M}"
        )
        yield Tie(words, f"/batches/{batch.pk}/")
    steps = PourStep.objects.filter(planned_people__user=person, done_at=None)
    rows = steps.select_related("pour__order__site", "pour__order").distinct()
    for step in rows.order_by("planned_start", "pk")[:MOST_LISTED]:
        yield Tie(str(step), f"/pours/{step.pour_id}/")
