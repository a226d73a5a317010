"""Of a datasheet figure and a computed one the stricter holds, and its name goes with it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limit:
    """A figure that binds, where it came from, and both figures it was chosen from."""

    value: float | None
    basis: str
    """'datasheet', 'computed' or 'unknown'."""
    datasheet: float | None
    computed: float | None

    def times(self, factor: float) -> Limit:
        """Return the same limit in another unit."""
        value, datasheet, computed = (
            None if v is None else v * factor for v in (self.value, self.datasheet, self.computed)
        )
        return Limit(value, self.basis, datasheet, computed)


def least(datasheet: float | None, computed: float | None) -> Limit:
    """Keep the smaller of two figures; a tie goes to the datasheet, a missing one is no limit."""
    return _choose(datasheet, computed, prefer_small=True)


def greatest(datasheet: float | None, computed: float | None) -> Limit:
    """Keep the larger of two figures; a tie goes to the datasheet, a missing one is no limit."""
    return _choose(datasheet, computed, prefer_small=False)


def earlier(a: Limit, b: Limit) -> Limit:
    """Return the stricter of two limits not to be passed; what is unknown limits nothing."""
    return _tighter(a, b, prefer_small=True)


def later(a: Limit, b: Limit) -> Limit:
    """Return the stricter of two waits; one that never ends is the stricter, see `never`."""
    return next((one for one in (a, b) if never(one)), _tighter(a, b, prefer_small=False))


def never(wait: Limit) -> bool:
    """Say whether a wait has no end by the computed side."""
    return wait.value is None and wait.basis == "computed"


def _tighter(a: Limit, b: Limit, *, prefer_small: bool) -> Limit:
    if a.value is None or b.value is None:
        return b if a.value is None else a
    return b if b.value != a.value and (b.value < a.value) == prefer_small else a


def _choose(datasheet: float | None, computed: float | None, *, prefer_small: bool) -> Limit:
    if datasheet is None and computed is None:
        return Limit(None, "unknown", None, None)
    if datasheet is None:
        return Limit(computed, "computed", None, computed)
    if computed is None or computed == datasheet or (datasheet < computed) == prefer_small:
        return Limit(datasheet, "datasheet", datasheet, computed)
    return Limit(computed, "computed", datasheet, computed)
