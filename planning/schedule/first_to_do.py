"""What a person has to do before any plan can go on with a pour that is begun."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from planning.batches.models import Batch, BatchStatus
from planning.clocks.half_poured import half_poured
from planning.core.plan import Plan, Unplaced
from planning.pours.models import Pour
from shared import clock
from shared.access.models import Site

WEIGHED = (BatchStatus.WEIGHING, BatchStatus.WEIGHED)


def with_what_to_do(answer: Plan, site: Site, now: datetime) -> Plan:
    """
    Say of begun pours without a place what holds them up, where that is not a want of room.

    A weighed pot that nobody mixed keeps its pour at the minute it was planned for, and a lift
    poured in part waits for a pot that will not come; the search sees a rule broken in both.
    """
    left_out = [int(one.pour) for one in answer.unplaced]
    if not left_out:
        return answer
    said = _half_poured(left_out) | _not_mixed(left_out, site, now)
    return replace(answer, unplaced=tuple(_told(one, said) for one in answer.unplaced))


def _told(one: Unplaced, said: Mapping[int, tuple[str, str]]) -> Unplaced:
    """Return why a pour has no place, told by what is to be done where there is something."""
    words, change = said.get(int(one.pour), (one.words, one.change))
    return replace(one, words=words, change=change)


def _not_mixed(pours: list[int], site: Site, now: datetime) -> dict[int, tuple[str, str]]:
    rows = Batch.objects.filter(
        site=site, status__in=WEIGHED, planned_contact__lt=now, portions__lift__pour__in=pours
    ).order_by("planned_contact")
    found: dict[int, tuple[str, str]] = {}
    for batch in rows.distinct().prefetch_related("portions__lift__pour"):
        begun = "weighed" if batch.status == BatchStatus.WEIGHED else "weighed in part"
        due = f"{clock.local(batch.planned_contact, site):%a %-d %b %H:%M}"
        told = (
            f"has no place in the planned days: its batch {batch.number} is {begun} and not "
            f"mixed, and was to be mixed {due}."
        )
        change = (
            f"If batch {batch.number} was mixed, enter when. If not, scrap it: hardener in the "
            "resin has reacted since it was weighed in. Then plan again."
        )
        for portion in batch.portions.all():
            pour = portion.lift.pour
            if pour.pk in pours:
                found.setdefault(pour.pk, (f"{pour} {told}", change))
    return found


def _half_poured(pours: list[int]) -> dict[int, tuple[str, str]]:
    found = {}
    for pour in Pour.objects.filter(pk__in=pours, status="pouring").select_related("order"):
        half = half_poured(pour)
        if half is not None:
            found[pour.pk] = (
                f"{pour} has no place in the planned days: its lift {half.lift.number} is poured "
                f"in part, {half.poured_kg:.3f} of {half.lift.mass_kg:.3f} kg, and no pot for the "
                "rest is to come.",
                "Say on the page of the casting that the lift ends at what is in it; then plan "
                "again, and the rest is planned on top.",
            )
    return found
