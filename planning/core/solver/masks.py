"""
Free time as bits: bit `t` of an integer says that minute `t` is free.

Asking for the first start of `d` free minutes is then a handful of shifts over the whole horizon,
which is what makes thousands of insertions a second possible without leaving Python.
"""

from __future__ import annotations

from collections.abc import Iterable


def span(start: int, end: int) -> int:
    """Return the bits from `start` to `end`, the end not included; negative minutes cut off."""
    start = max(start, 0)
    return ((1 << (end - start)) - 1) << start if end > start else 0


def spans(windows: Iterable[tuple[int, int]]) -> int:
    """Return the bits of several windows."""
    bits = 0
    for start, end in windows:
        bits |= span(start, end)
    return bits


def covers(bits: int, start: int, end: int) -> bool:
    """Return whether all minutes from `start` to `end`, the end not included, are set."""
    need = (1 << (end - start)) - 1
    return (bits >> start) & need == need


def starts(free: int, minutes: int) -> int:
    """Return the minutes at which `minutes` free minutes in a row begin."""
    done = 1
    while done * 2 <= minutes:
        free &= free >> done
        done *= 2
    if done < minutes:
        free &= free >> (minutes - done)
    return free


def first(bits: int, low: int) -> int:
    """Return the first set bit at or after `low`, or -1."""
    bits >>= low
    return low + (bits & -bits).bit_length() - 1 if bits else -1


def last(bits: int, high: int) -> int:
    """Return the last set bit at or before `high`, or -1."""
    return (bits & ((1 << (high + 1)) - 1)).bit_length() - 1 if high >= 0 else -1


def at_least(count: int, masks: Iterable[int]) -> int:
    """Return the minutes set in at least `count` of the masks."""
    if count == 1:
        bits = 0
        for mask in masks:
            bits |= mask
        return bits
    levels = [0] * count
    for mask in masks:
        for level in range(count - 1, 0, -1):
            levels[level] |= levels[level - 1] & mask
        levels[0] |= mask
    return levels[-1]
