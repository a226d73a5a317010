"""How a face of a lift loses heat: held at a temperature, through a film, or not at all."""

from __future__ import annotations

import math
from dataclasses import dataclass

from planning.core.casting import require


@dataclass(frozen=True)
class Face:
    """
    A heat-transfer coefficient, W/m2K, to the shop's air or to something warmer or colder.

    0 is an insulated face, infinity one held at the temperature beyond it.
    """

    film_w_m2k: float
    around_c: float | None = None
    """Temperature beyond this face, such as a heated mould's or an oven's, C; None: the shop's."""

    def __post_init__(self) -> None:
        if self.around_c is not None:
            require.temperature(around_c=self.around_c)
        if math.isnan(self.film_w_m2k) or self.film_w_m2k < 0:
            raise ValueError(f"film_w_m2k is {self.film_w_m2k}; it must be 0 W/m2K or more")

    def conductance_w_m2k(self, half_cell_m: float, conductivity_w_mk: float) -> float:
        """Film and half a cell of resin in series, W/m2K."""
        if self.film_w_m2k == 0:
            return 0.0
        return 1 / (1 / self.film_w_m2k + half_cell_m / conductivity_w_mk)


HELD = Face(math.inf)
INSULATED = Face(0.0)

AIR_TOP = Face(8.0)
"""Open top in still shop air, free convection and radiation together. Assumed, no source."""

TOOL_SIDES = {
    "metal": Face(50.0),
    "board": Face(5.0),
    "foam": INSULATED,
    "unknown": INSULATED,
}
"""What a lift stands on. The two films are assumptions of the reference model, not measurements;
what is not known loses no heat, which is the hot side of the truth."""


def tool_side(material: str) -> Face:
    """
    Return the face of a tool-side material.

    Raises
    ------
    ValueError
        If the material is none of `TOOL_SIDES`; "unknown" is always accepted.
    """
    try:
        return TOOL_SIDES[material]
    except KeyError:
        known = ", ".join(TOOL_SIDES)
        raise ValueError(f"tool side is {material!r}; it must be one of {known}") from None
