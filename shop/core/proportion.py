"""Whether resin and hardener are there in the proportion in which they are mixed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

MAY_BE_OFF = 0.10
"""Share by which the hardener may be off before it is said; chosen here, no source."""
Verdict = Literal["nothing", "in proportion", "too little hardener", "too much hardener"]


@dataclass(frozen=True)
class Ratio:
    """Hardener to 100 of resin by mass, of one system."""

    resin: str
    hardener: str
    per_100: float


@dataclass(frozen=True)
class Group:
    """Resins and hardeners that belong together, since one is mixed with several others."""

    resins: tuple[str, ...]
    hardeners: tuple[str, ...]


@dataclass(frozen=True)
class Proportion:
    """
    What there is of a group, kg, and the hardener that all its resin takes.

    `least_kg` and `most_kg` differ where a resin goes with more than one hardener.
    """

    group: Group
    resin_kg: float
    hardener_kg: float
    least_kg: float
    most_kg: float

    @property
    def verdict(self) -> Verdict:
        """Say whether the hardener fits the resin, within `MAY_BE_OFF`."""
        if self.resin_kg <= 0 and self.hardener_kg <= 0:
            return "nothing"
        if self.hardener_kg < self.least_kg * (1 - MAY_BE_OFF):
            return "too little hardener"
        if self.hardener_kg > self.most_kg * (1 + MAY_BE_OFF):
            return "too much hardener"
        return "in proportion"

    @property
    def off_kg(self) -> float:
        """Return the hardener over what the resin takes, below 0 what is missing."""
        if self.hardener_kg < self.least_kg:
            return self.hardener_kg - self.least_kg
        return max(0.0, self.hardener_kg - self.most_kg)


def groups(ratios: Iterable[Ratio]) -> list[Group]:
    """Return the materials that hang together by their systems, each group sorted by name."""
    found: list[tuple[set[str], set[str]]] = []
    for one in ratios:
        near = [g for g in found if one.resin in g[0] or one.hardener in g[1]]
        resins, hardeners = {one.resin}, {one.hardener}
        for group in near:
            resins |= group[0]
            hardeners |= group[1]
            found.remove(group)
        found.append((resins, hardeners))
    made = [Group(tuple(sorted(r)), tuple(sorted(h))) for r, h in found]
    return sorted(made, key=lambda group: group.resins)


def proportions(ratios: Iterable[Ratio], there_kg: Mapping[str, float]) -> list[Proportion]:
    """
    Return how the hardener of each group fits its resin.

    Parameters
    ----------
    ratios : iterable of Ratio
        All systems in use.
    there_kg : mapping of str to float
        What there is of each material, kg; what is missing counts as none.
    """
    known = list(ratios)
    for one in known:
        if not one.per_100 > 0:
            raise ValueError(f"per_100 is {one.per_100} of {one.resin}; it must be above 0")
    found = []
    for group in groups(known):
        least = most = 0.0
        for resin in group.resins:
            shares = [one.per_100 / 100 for one in known if one.resin == resin]
            least += there_kg.get(resin, 0.0) * min(shares)
            most += there_kg.get(resin, 0.0) * max(shares)
        found.append(
            Proportion(
                group,
                sum(there_kg.get(name, 0.0) for name in group.resins),
                sum(there_kg.get(name, 0.0) for name in group.hardeners),
                least,
                most,
            )
        )
    return found
