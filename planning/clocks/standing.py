"""
When a casting may be poured over and taken off: the one answer for everything that says it.

Nothing opens by a time alone: the clock must have been worked out again when that time had come.

A casting is one body: nothing may be done to it before the clock of each of its lifts allows it,
wherever the later clock sits.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from django.db.models import QuerySet

from planning.batches.models import Lift
from planning.clocks.asking import look_afresh
from planning.clocks.models import Cure
from planning.clocks.words import waits_for
from planning.pours.models import Pour, PourStatus


@dataclass(frozen=True)
class Standing:
    """Where a pour stands of which at least one lift is poured."""

    pour: Pour
    cast: tuple[Cure, ...]
    """Clocks of its poured lifts, from the bottom up."""
    next_lift: Lift | None
    """The lowest lift that is planned and not poured."""

    @property
    def top(self) -> Cure:
        """The clock of the highest lift that is poured."""
        return self.cast[-1]

    @property
    def rest_open(self) -> bool:
        """Whether the mould is not full and no lift is planned for what is missing."""
        return self.next_lift is None and self.pour.status == PourStatus.POURING

    @property
    def awaits_lift(self) -> bool:
        """Whether something is still to be poured into it."""
        return self.next_lift is not None or self.rest_open

    @property
    def last(self) -> Cure:
        """The clock that is the last to let the casting be taken off, as far as is known."""
        return max(self.cast, key=lambda cure: (cure.demould_due_at is None, _late(cure)))

    @property
    def ready_at(self) -> datetime | None:
        """
        When it may be taken off, on the careful side.

        None while a lift is missing, and where it is not known: `waits_for` then says why.
        """
        return None if self.awaits_lift else self.last.demould_due_at

    @property
    def expected_at(self) -> datetime | None:
        """When it will be time to take it off or to measure it; for lists, plans and reminders."""
        known = [cure.expected_at for cure in self.cast]
        if self.awaits_lift or None in known:
            return None
        return max(at for at in known if at is not None)

    @property
    def waits_for(self) -> str:
        """Why there is no `ready_at`, in words; empty where there is one or a lift is missing."""
        return "" if self.awaits_lift else waits_for(self.last)

    @property
    def is_asked_again(self) -> bool:
        """Whether one of its clocks is to be worked out again; nothing opens until then."""
        return any(cure.looked_at is None for cure in self.cast)

    def may_demould(self, now: datetime) -> bool:
        """Whether it may be taken off now: each of its clocks said so when its time had come."""
        return not self.awaits_lift and all(
            not cure.waits_for and cure.passed(cure.demould_due_at, now) for cure in self.cast
        )

    @property
    def opens_at(self) -> datetime | None:
        """
        From when on it bears another lift: each lift below must be gelled and cool enough.

        None where that is not known of one of them.
        """
        known = [cure.next_opens_at for cure in self.cast]
        return None if None in known else max(at for at in known if at is not None)

    @property
    def closes_at(self) -> datetime | None:
        """Until when another lift bonds to the top one without abrading; None: not known to."""
        return self.top.next_closes_at

    @property
    def no_window(self) -> bool:
        """Whether it stops bonding before it can bear the next lift, which is then abraded for."""
        opens, closes = self.opens_at, self.closes_at
        return closes is None or opens is None or closes < opens

    def may_pour_over(self, now: datetime) -> bool:
        """Whether the next lift may be poured now: each clock said so when its time had come."""
        return all(cure.passed(cure.next_opens_at, now) for cure in self.cast)

    def may_judge_open(self, now: datetime) -> bool:
        """Whether a person may judge that it bears the next lift: it is likely to by now."""
        return all(_past(cure.opens_best_at, now) for cure in self.cast)

    def may_judge_cured(self, now: datetime) -> bool:
        """Whether a person may judge that it is cured: it is all poured, and likely is by now."""
        return not self.awaits_lift and all(_past(cure.cured_best_at, now) for cure in self.cast)

    def still_bonds(self, now: datetime) -> bool:
        """Whether the top lift still bonds now."""
        return self.closes_at is not None and now < self.closes_at


def _past(due: datetime | None, now: datetime) -> bool:
    return due is not None and due <= now


def _late(cure: Cure) -> datetime:
    return cure.expected_at or datetime.max.replace(tzinfo=UTC)


def asked_now(pour: Pour, now: datetime) -> Standing | None:
    """
    Return where a pour stands at a moment, after working out its clocks for that moment.

    For what lets somebody act; lists read the stored times, which the worker keeps up.
    """
    look_afresh(pour, now)
    return standing(pour)


def standing(pour: Pour) -> Standing | None:
    """Return where a pour stands; None before its first lift is poured."""
    lifts = list(Lift.objects.filter(pour=pour).select_related("cure", "place"))
    return standing_of(pour, lifts)


def standing_of(pour: Pour, lifts: Iterable[Lift]) -> Standing | None:
    """Return where a pour stands by its lifts, which were read with their clocks."""
    rows = sorted(lifts, key=lambda lift: lift.number)
    cast = tuple(lift.cure for lift in rows if hasattr(lift, "cure"))
    waiting = [lift for lift in rows if not hasattr(lift, "cure")]
    return Standing(pour, cast, waiting[0] if waiting else None) if cast else None


def running(**narrow: object) -> list[Standing]:
    """
    Return the castings whose clocks run, narrowed by fields of the pour; two queries.

    What has failed, was cancelled or is off its mould is left out.
    """
    pours: QuerySet[Pour] = Pour.objects.filter(
        status__in=(PourStatus.POURING, PourStatus.CURING), **narrow
    )
    lifts = Lift.objects.filter(pour__in=pours).select_related(
        "cure", "place", "pour__order__tool", "pour__order__site"
    )
    by_pour: dict[int, list[Lift]] = defaultdict(list)
    for lift in lifts.order_by("pour", "number"):
        by_pour[lift.pour_id].append(lift)
    found = (standing_of(rows[0].pour, rows) for rows in by_pour.values())
    return [one for one in found if one is not None and one.top.done_at is None]
