"""The key under which a movement is written down once."""

from __future__ import annotations

from uuid import uuid4


def key_for(who: str, reference: str | None) -> str:
    """Return the key of a movement: the caller's own reference guards it for ever."""
    return f"ref:{who}:{reference}" if reference else f"api:{uuid4()}"
