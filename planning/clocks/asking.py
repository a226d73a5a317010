"""
Working the clocks out again: when something has happened, and when a time has come.

What is read in or on a casting, its ovens and its pouring are worked out at once. The air of a
site bears on everything that cures there: a few clocks are worked out at once, more by the
worker after the commit. Until then nothing opens on the older answer, for a clock that is to be
worked out again has no `looked_at`.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F, Q, QuerySet

from planning.batches.models import Lift
from planning.clocks.answer import UNKNOWN, ask, columns
from planning.clocks.gather import poured_lift
from planning.clocks.models import Cure
from planning.clocks.peaks import passed
from planning.clocks.readings import counting
from planning.pours.models import Pour
from shared.send import send

AT_ONCE = 4
"""At most this many clocks are worked out while somebody waits; each takes 0.1 to 0.7 s."""
FRESH = timedelta(minutes=5)
A_ROUND = 25
"""This many are worked out before the time is read again."""
TIMES = ("peak_due_at", "next_opens_at", "demould_due_at")
"""Times at which something opens, or is told."""
SHOWN = (
    *TIMES, "attend_until", "next_closes_at", "cured_due_at", "waits_for", "basis", "peak_c",
    "peak_passed_at", "peak_basis",
)  # fmt: skip
"""What a clock that has moved differs in."""


def values_of(lift: Lift, poured_at: datetime, now: datetime) -> dict[str, Any]:
    """Return the columns of a lift's clock as it is at a moment."""
    asked = poured_lift(lift, poured_at, now)
    answer = ask(asked, lift.pour, float(lift.mass_kg))
    hottest = counting().filter(
        pour=lift.pour_id, where="core", at__gte=poured_at, at__lte=now
    ).order_by("-celsius").values_list("celsius", flat=True).first()  # fmt: skip
    found: dict[str, Any] = {"peak_c": hottest, "looked_at": now}
    if answer is None:
        return {**UNKNOWN, **found}
    covered = Cure.objects.filter(lift__pour=lift.pour_id, lift__number__gt=lift.number).exists()
    found |= columns(lift, poured_at, asked, answer, covered=covered)
    found |= passed(lift, poured_at, answer.clocks.peak_seen, found["peak_due_at"], now)
    return found


def look(cure: Cure, now: datetime) -> bool:
    """
    Work a running clock out for now and keep the answer.

    Its version rises only when something shown has moved. Where something happened while it was
    worked out, the answer is thrown away: the clock still waits to be worked out.
    """
    seen = Cure.objects.select_related("lift__pour__order__site").filter(done_at__isnull=True)
    row = seen.filter(pk=cure.pk).first()
    if row is None:
        return False
    values = values_of(row.lift, row.poured_at, now)
    if row.seen_to_pass:
        values |= {"peak_passed_at": row.peak_passed_at, "peak_basis": row.peak_basis}
    if any(getattr(row, name) != values[name] for name in SHOWN):
        values["version"] = F("version") + 1
    same = Cure.objects.filter(pk=row.pk, changes=row.changes, done_at__isnull=True)
    return bool(same.update(**values))


def mark(rows: QuerySet[Cure]) -> None:
    """Say that clocks wait to be worked out again; until then nothing opens by them."""
    rows.filter(done_at__isnull=True).update(looked_at=None, changes=F("changes") + 1)


def changed(rows: QuerySet[Cure], now: datetime) -> None:
    """
    Have clocks worked out again because of what has just been written down.

    To be called in the transaction that wrote it.
    """
    mark(rows)
    found = list(rows.filter(done_at__isnull=True).order_by("pk")[: AT_ONCE + 1])
    if len(found) > AT_ONCE:
        transaction.on_commit(lambda: send("planning.tasks.look_at_clocks"))
        return
    for cure in found:
        look(cure, now)


def of_site(site_id: int) -> QuerySet[Cure]:
    """Return the clocks of a site."""
    return Cure.objects.filter(lift__pour__order__site=site_id)


def of_pour(pour: Pour) -> QuerySet[Cure]:
    """Return the clocks of a casting."""
    return Cure.objects.filter(lift__pour=pour)


def waiting(now: datetime) -> QuerySet[Cure]:
    """Return the running clocks that wait to be worked out, or that say that a time has come."""
    come = Q(looked_at__isnull=True)
    for name in TIMES:
        come |= Q(**{f"{name}__lte": now}) & Q(looked_at__lt=F(name))
    return Cure.objects.filter(come, done_at__isnull=True)


def look_afresh(pour: Pour, now: datetime) -> None:
    """Work the running clocks of a casting out, unless they were so a moment before."""
    for cure in of_pour(pour).filter(Q(pk__in=waiting(now)) | Q(looked_at__lt=now - FRESH)):
        look(cure, now)


def look_at_waiting(now: datetime, rows: QuerySet[Cure] | None = None) -> int:
    """Work a round of waiting clocks out, those that wait longest first; return how many."""
    found = waiting(now) if rows is None else waiting(now) & rows
    done = 0
    for cure in found.order_by(F("looked_at").asc(nulls_first=True), "pk")[:A_ROUND]:
        done += look(cure, now)
    return done
