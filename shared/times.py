"""The one bound on times that callers give: it has happened, and in its order."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from shared import clock
from shared.errors import Invalid

SKEW = timedelta(minutes=5)
"""How far a caller's clock may be wrong. Within it a time is taken as the limit it misses."""
OLDEST = timedelta(days=3653)
"""Ten years: anything older is a slip of the keyboard or a clock that was never set."""

FARTHEST = timedelta(days=1827)
"""Five years: nobody plans the shop's days farther ahead."""

Event = tuple[str, datetime | None]
"""What happened, in words that follow "before" or "after", and when; None if it has not."""


def happened(
    given: datetime | None,
    *,
    now: datetime,
    field: str = "at",
    after: Iterable[Event] = (),
    before: Iterable[Event] = (),
    site: clock.InZone | None = None,
) -> datetime:
    """
    Return when something happened, as a caller gives it; now unless said.

    Parameters
    ----------
    given : datetime or None
        With zone.
    now : datetime
        The present moment. A clock that is up to `SKEW` fast is taken as now.
    field : str
        Name of the field, for the refusal.
    after, before : iterable of (words, datetime or None)
        What it follows, and what follows it; the same skew holds, and a time within it is
        taken as that of the event. What has not happened bounds nothing.
    site : site, optional
        Whose wall clock the refusal shows; UTC when left out.

    Raises
    ------
    Invalid
        422 on the field: `in_future`, `too_long_ago`, `before_what_it_follows` or
        `after_what_follows`.
    """
    at = now if given is None else given
    if fault := out_of_time(at, now):
        code, limit, words = fault
        raise _refused(field, code, at, limit, words, site)
    return in_order(min(at, now), field=field, after=after, before=before, site=site)


def in_order(
    at: datetime,
    *,
    field: str = "at",
    after: Iterable[Event] = (),
    before: Iterable[Event] = (),
    site: clock.InZone | None = None,
) -> datetime:
    """Return a time that keeps its place among others, as `happened` does; now is not asked."""
    for words, event in after:
        if event is not None and at < event - SKEW:
            raise _refused(
                field, "before_what_it_follows", at, event,
                f"that is before {words}, {_shown(event, site)}; give a later time", site,
            )  # fmt: skip
        at = at if event is None else max(at, event)
    for words, event in before:
        if event is not None and at > event + SKEW:
            raise _refused(
                field, "after_what_follows", at, event,
                f"that is after {words}, {_shown(event, site)}; give an earlier time", site,
            )  # fmt: skip
        at = at if event is None else min(at, event)
    return at


def out_of_time(at: datetime, now: datetime) -> tuple[str, datetime, str] | None:
    """Return code, limit and words of what keeps a time from having happened; None if nothing."""
    if at > now + SKEW:
        return "in_future", now, "it must not be in the future; give a time up to now"
    if at < now - OLDEST:
        return (
            "too_long_ago",
            now - OLDEST,
            "it must not be more than ten years ago; check the year",
        )
    return None


def out_of_plan(at: datetime, now: datetime) -> tuple[str, datetime, str] | None:
    """Return what keeps a time from being one that is planned for, as `out_of_time` does."""
    if at > now + FARTHEST:
        return "too_far", now + FARTHEST, "it must not be more than five years ahead"
    return out_of_time(min(at, now), now)


def _refused(
    field: str, code: str, at: datetime, limit: datetime, words: str, site: clock.InZone | None
) -> Invalid:
    name = field.rsplit("/", 1)[-1]
    return Invalid.one(
        field, code, f"{name} is {_shown(at, site)}; {words}.",
        value=at.isoformat(), limit=limit.isoformat(),
    )  # fmt: skip


def _shown(at: datetime, site: clock.InZone | None) -> str:
    if site is None:
        return f"{at.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
    return f"{clock.local(at, site):%a %d %b %Y %H:%M}"
