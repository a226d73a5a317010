"""What planned work a change of the catalogue touches: planning registers itself and is asked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Touched = Callable[[str, int], list[str]]
"""Gets a register and a row's id; returns one line of words for each thing touched."""

_known: list[Touched] = []
MOST = 50


def register_touched(function: Touched) -> None:
    """Let `function` be asked for what a change touches."""
    if function not in _known:
        _known.append(function)


def touched(register: str, row_id: Any) -> list[str]:
    """Return what a change of a row touches, in words; a last line says how many more."""
    if row_id is None:
        return []
    lines = [line for function in _known for line in function(register, row_id)]
    if len(lines) > MOST:
        return [*lines[:MOST], f"and {len(lines) - MOST} more"]
    return lines
