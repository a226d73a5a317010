"""Find where more is asked of a resource at once than it has, in one sweep over time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from planning.core.checking.view import Part


@dataclass(frozen=True)
class Span:
    """A piece of work that holds `size` of a resource over ``[start_min, end_min)``."""

    start_min: int
    end_min: int
    part: Part
    size: int = 1


def overloads(
    spans: list[Span], capacity: int, is_fixed: Callable[[Part], bool]
) -> Iterator[tuple[int, list[Span]]]:
    """
    Yield the first minute of each time in which more than `capacity` is held, and by what.

    A time in which only frozen work takes part is passed over.
    """
    events = sorted(
        (at, kind, number)
        for number, span in enumerate(spans)
        if span.end_min > span.start_min
        for at, kind in ((span.start_min, 1), (span.end_min, 0))
    )
    active: dict[int, Span] = {}
    held, told = 0, False
    for at, kind, number in events:
        span = spans[number]
        if kind:
            active[number] = span
            held += span.size
        else:
            del active[number]
            held -= span.size
        if held <= capacity:
            told = False
        elif kind and not told and not all(is_fixed(s.part) for s in active.values()):
            told = True
            yield at, list(active.values())
