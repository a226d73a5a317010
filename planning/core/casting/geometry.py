"""
How much a casting holds, and how deep a poured volume stands in it.

A `CastingShape` is the area open to the resin as a function of height, cut into slices whose area
is a quadratic in height. That covers boxes, frusta, cones, spherical caps, prismoids and meshes,
so the volume of any lift comes from one rule and is exact. Heights are millimetres above the
board the casting stands on, volumes litres.

Standard solid geometry; the sources of the check values stand beside them in the tests.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import accumulate, pairwise

MM3_PER_L = 1e6
LARGEST_MM = 10_000.0
"""No side of a casting is longer: ten metres, the same bound as for a pattern from a file."""
_SLACK = 1e-9
"""Relative rounding allowed where two computed areas or volumes should be equal."""


class BadGeometry(ValueError):
    """A size that makes no casting. The sentence names field, value, limit and unit."""

    def __init__(
        self, name: str, value: float, unit: str, limit: str, advice: str = "", *, said: str = ""
    ) -> None:
        self.field, self.value, self.unit, self.limit = name, value, unit, limit
        unit = f" {unit}" if unit else ""
        sentence = said or f"{name} is {value:.10g}{unit}; it must be {limit}."
        super().__init__(f"{sentence} {advice}".strip())


def check_between(name: str, value: float, low: float, high: float, unit: str) -> None:
    """Raise `BadGeometry` unless `value` is a number from `low` to `high`."""
    if not low <= value <= high:
        raise BadGeometry(name, value, unit, f"{low:g} to {high:g} {unit}")


def check_size(name: str, value_mm: float) -> None:
    """Raise `BadGeometry` unless `value_mm` is above 0 and at most ten metres."""
    if not 0 < value_mm <= LARGEST_MM:
        raise BadGeometry(name, value_mm, "mm", f"above 0 and at most {LARGEST_MM:g} mm")


@dataclass(frozen=True)
class Slice:
    """
    Part of a casting between two heights; its area is a quadratic in height.

    Given by the area at the bottom, half-way and at the top, so that the volume is the
    prismoidal rule h/6 (A1 + 4 Am + A2), which is exact for a quadratic.
    """

    from_mm: float
    to_mm: float
    area_from_mm2: float
    area_mid_mm2: float
    area_to_mm2: float

    @property
    def height_mm(self) -> float:
        return self.to_mm - self.from_mm

    @property
    def _coefficients(self) -> tuple[float, float, float]:
        """Return a, b, c of a + b t + c t^2, with t running from 0 to 1 through the slice."""
        c = 2 * (self.area_from_mm2 - 2 * self.area_mid_mm2 + self.area_to_mm2)
        return self.area_from_mm2, self.area_to_mm2 - self.area_from_mm2 - c, c

    def area_mm2(self, at_mm: float) -> float:
        """Area at a height inside the slice, its ends included, mm2."""
        a, b, c = self._coefficients
        t = (at_mm - self.from_mm) / self.height_mm
        if t == 1:
            return self.area_to_mm2
        return a + t * (b + t * c)

    def volume_mm3(self, to_mm: float) -> float:
        """Volume from the slice's bottom up to `to_mm`, mm3."""
        a, b, c = self._coefficients
        t = (to_mm - self.from_mm) / self.height_mm
        return self.height_mm * t * (a + t * (b / 2 + t * c / 3))

    @property
    def least_area_mm2(self) -> float:
        """The smallest area anywhere in the slice, mm2."""
        a, b, c = self._coefficients
        ends = min(self.area_from_mm2, self.area_to_mm2)
        if c > 0 and 0 < -b / (2 * c) < 1:
            return min(ends, a - b * b / (4 * c))
        return ends

    def between(self, from_mm: float, to_mm: float) -> Slice:
        """Return the part of this slice between two of its heights."""
        middle = (from_mm + to_mm) / 2
        return Slice(
            from_mm, to_mm, self.area_mm2(from_mm), self.area_mm2(middle), self.area_mm2(to_mm)
        )


@dataclass(frozen=True)
class Layer:
    """A layer of a casting between two heights, from the bottom up."""

    from_mm: float
    to_mm: float
    volume_l: float

    @property
    def depth_mm(self) -> float:
        return self.to_mm - self.from_mm

    def mass_kg(self, density_kg_l: float) -> float:
        """Mass of the layer when filled with a mix of this density, kg."""
        if not density_kg_l > 0:
            raise BadGeometry("density_kg_l", density_kg_l, "kg/L", "above 0")
        return self.volume_l * density_kg_l


@dataclass(frozen=True)
class CastingShape:
    """
    The room a casting fills, as area by height.

    `slices` join without gaps from 0 up. `assumption` is a sentence for people when the area by
    height is not known and had to be spread; it is empty when every lift's volume is exact.
    """

    slices: tuple[Slice, ...]
    assumption: str = ""
    _starts: tuple[float, ...] = field(init=False, repr=False, compare=False)
    _below_mm3: tuple[float, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not self.slices or self.slices[0].from_mm != 0:
            raise ValueError("a casting's slices must begin at height 0 mm")
        for lower, upper in pairwise(self.slices):
            if lower.to_mm != upper.from_mm:
                raise ValueError(
                    f"slices must join; one ends at {lower.to_mm} mm, the next begins at "
                    f"{upper.from_mm} mm"
                )
        for part in self.slices:
            check_size("height_mm", part.height_mm)
        check_size("depth_mm", self.slices[-1].to_mm)
        volumes = (part.volume_mm3(part.to_mm) for part in self.slices)
        object.__setattr__(self, "_starts", tuple(part.from_mm for part in self.slices))
        object.__setattr__(self, "_below_mm3", (0.0, *accumulate(volumes)))

    @property
    def depth_mm(self) -> float:
        """Height of the whole casting, mm."""
        return self.slices[-1].to_mm

    def _slice_at(self, height_mm: float) -> int:
        return min(bisect_right(self._starts, height_mm), len(self.slices)) - 1

    def _check_height(self, name: str, height_mm: float) -> None:
        check_between(name, height_mm, 0, self.depth_mm, "mm")

    def area_mm2(self, height_mm: float) -> float:
        """
        Return the area open to resin at a height, mm2.

        Where the area jumps, at the flat top of a pattern, it is the area just above; at the
        very top of the casting, just below.
        """
        self._check_height("height_mm", height_mm)
        return self.slices[self._slice_at(height_mm)].area_mm2(height_mm)

    def _below(self, height_mm: float) -> float:
        index = self._slice_at(height_mm)
        part = self.slices[index]
        if height_mm == part.to_mm:
            return self._below_mm3[index + 1]
        return self._below_mm3[index] + part.volume_mm3(height_mm)

    def volume_l(self, from_mm: float = 0.0, to_mm: float | None = None) -> float:
        """
        Return the volume between two heights.

        Parameters
        ----------
        from_mm, to_mm : float
            Heights above the board, mm, in order; `to_mm` left out means the top.

        Returns
        -------
        float
            Volume, L.

        Raises
        ------
        BadGeometry
            If a height lies outside the casting or they are in the wrong order.
        """
        top = self.depth_mm if to_mm is None else to_mm
        self._check_height("from_mm", from_mm)
        check_between("to_mm", top, from_mm, self.depth_mm, "mm")
        return max(0.0, self._below(top) - self._below(from_mm)) / MM3_PER_L

    def depth_for_volume(self, volume_l: float, from_mm: float = 0.0) -> float:
        """
        Return the height at which a poured volume stands.

        Parameters
        ----------
        volume_l : float
            Volume poured, L.
        from_mm : float
            Height it is poured upon, mm: 0, or the top of the lift below.

        Returns
        -------
        float
            Height of the surface above the board, mm.

        Raises
        ------
        BadGeometry
            If the volume is negative or more than the room above `from_mm`.

        Notes
        -----
        The root of the integral of area over height. That integral never falls, so bisection
        inside the one slice that holds the answer cannot fail.

        Examples
        --------
        >>> from planning.core.casting.solids import spherical_cap
        >>> round(spherical_cap(radius_mm=100, height_mm=100).depth_for_volume(1.0), 6)
        63.550081
        """
        self._check_height("from_mm", from_mm)
        room_l = self.volume_l(from_mm)
        if not 0 <= volume_l <= room_l * (1 + _SLACK):
            raise BadGeometry(
                "volume_l", volume_l, "L", f"0 to {room_l:.6g} L, the room above {from_mm:g} mm"
            )
        if volume_l == 0:
            return from_mm
        wanted = self._below(from_mm) + volume_l * MM3_PER_L
        index = min(bisect_right(self._below_mm3, wanted), len(self.slices)) - 1
        part = self.slices[index]
        return max(from_mm, _bisect(part, wanted - self._below_mm3[index]))

    def layers(self, boundaries_mm: Iterable[float]) -> tuple[Layer, ...]:
        """
        Cut the casting at heights and return the layers from the bottom up.

        0 and the top need not be given. Raises `BadGeometry` for a height outside the casting.
        """
        cuts = {0.0, self.depth_mm}
        for height_mm in boundaries_mm:
            self._check_height("boundaries_mm", height_mm)
            cuts.add(float(height_mm))
        return tuple(
            Layer(low, high, self.volume_l(low, high)) for low, high in pairwise(sorted(cuts))
        )

    def equal_layers(self, thickest_mm: float) -> tuple[Layer, ...]:
        """Cut the casting into the fewest layers of equal depth, none over `thickest_mm`."""
        check_size("thickest_mm", thickest_mm)
        count = math.ceil(self.depth_mm / thickest_mm - _SLACK)
        return self.layers(self.depth_mm * index / count for index in range(1, count))

    def minus(self, solid: CastingShape) -> CastingShape:
        """
        Return the room left round a solid that stands on the same board.

        Raises `BadGeometry` when the solid is taller, or at some height wider, than the room.
        """
        if solid.depth_mm > self.depth_mm:
            raise BadGeometry(
                "pattern_height_mm",
                solid.depth_mm,
                "mm",
                f"at most the casting depth of {self.depth_mm:g} mm",
                "Raise the box or check the pattern's unit.",
            )
        heights = {part.to_mm for part in (*self.slices, *solid.slices)} | {0.0}
        parts = []
        for low, high in pairwise(sorted(heights)):
            room = self.slices[self._slice_at(low)].between(low, high)
            if low < solid.depth_mm:
                taken = solid.slices[solid._slice_at(low)].between(low, high)
                room = _less(room, taken)
            parts.append(room)
        return CastingShape(tuple(parts), self.assumption or solid.assumption)

    def rows(self) -> list[list[float]]:
        """Return the slices as lists of five numbers, for storing as JSON."""
        return [
            [p.from_mm, p.to_mm, p.area_from_mm2, p.area_mid_mm2, p.area_to_mm2]
            for p in self.slices
        ]

    @classmethod
    def from_rows(cls, rows: Sequence[Sequence[float]], assumption: str = "") -> CastingShape:
        """Return the shape stored by `rows`."""
        return cls(tuple(Slice(*map(float, row)) for row in rows), assumption)


def _bisect(part: Slice, wanted_mm3: float) -> float:
    low, high = part.from_mm, part.to_mm
    if wanted_mm3 >= part.volume_mm3(high):
        return high
    while True:
        middle = (low + high) / 2
        if middle in (low, high):
            return middle
        if part.volume_mm3(middle) < wanted_mm3:
            low = middle
        else:
            high = middle


def _less(room: Slice, taken: Slice) -> Slice:
    left = Slice(
        room.from_mm,
        room.to_mm,
        room.area_from_mm2 - taken.area_from_mm2,
        room.area_mid_mm2 - taken.area_mid_mm2,
        room.area_to_mm2 - taken.area_to_mm2,
    )
    if left.least_area_mm2 < -_SLACK * max(room.area_from_mm2, room.area_to_mm2):
        middle = (room.from_mm + room.to_mm) / 2
        raise BadGeometry(
            "pattern area",
            taken.area_mm2(middle),
            "mm2",
            f"at most {room.area_mm2(middle):.10g} mm2, the room at that height",
            f"The pattern is larger than its box at {middle:.4g} mm above the board.",
        )
    return left
