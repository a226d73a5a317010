"""Movements that belong to a record elsewhere: they are put right there, not in the ledger."""

from __future__ import annotations

from shared.errors import ShopError

_owners: dict[str, str] = {}


class BelongsElsewhere(ShopError):
    """A movement that only its own record may undo: undone here, the two would differ."""


def register_owner(prefix: str, words: str) -> None:
    """Let movements whose key begins with `prefix` be undone by their record; say how in words."""
    _owners[prefix] = words


def refuse_owned(key: str) -> None:
    """Refuse to undo a movement in the ledger that belongs to a record elsewhere."""
    for prefix, words in _owners.items():
        if key.startswith(prefix):
            raise BelongsElsewhere(words, code="belongs_elsewhere", key=key)
