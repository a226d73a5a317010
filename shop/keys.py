"""When something happened, and the key under which it is written down once."""

from __future__ import annotations

from datetime import datetime, timedelta
from uuid import uuid4

from shared import clock
from shared.errors import Invalid

AHEAD = timedelta(minutes=5)
"""How far a caller's clock may be fast."""


def moment(given: datetime | None, field: str = "happened_at") -> datetime:
    """Return when something happened: now unless said; never in the future."""
    now = clock.now()
    if given is not None and given > now + AHEAD:
        words = f"{field} is {given.isoformat()}; it must not be in the future."
        raise Invalid.one(field, "in_future", words, value=given, limit=now)
    return given or now


def key_for(who: str, reference: str | None) -> str:
    """Return the key of a movement: the caller's own reference guards it for ever."""
    return f"ref:{who}:{reference}" if reference else f"api:{uuid4()}"
