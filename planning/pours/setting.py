"""What a pour is cast on and in, and how warm its mix is planned: what its heat depends on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from planning.core.casting.faces import AIR_TOP, INSULATED, Face, tool_side
from planning.pours.models import Pour, ToolSide

FACES: Mapping[str, Face] = {
    ToolSide.METAL: tool_side("metal"),
    ToolSide.BOARD: tool_side("board"),
}
"""Sides that lead heat away; all others, cured epoxy among them, count as insulated."""


@dataclass(frozen=True)
class Setting:
    """
    Surroundings of a casting.

    Attributes
    ----------
    side : str
        What it stands on, of `ToolSide`.
    mix_c : float or None
        Planned temperature of the mix, C; None: the shop's.
    mould_c, oven_c : float or None
        Temperature that the mould is held at, and of the oven or cell it cures in, C.
    """

    side: str
    mix_c: float | None = None
    mould_c: float | None = None
    oven_c: float | None = None

    def faces(self) -> tuple[tuple[Face, Face], ...]:
        """
        Return base and top, each way that they may be: of these the stricter answer holds.

        A mould or oven may turn out to be as warm as the shop, so that is always one of them. A
        heated mould leads heat in as metal does, whatever it is made of.
        """
        base = FACES.get(self.side, INSULATED)
        plain = (base, AIR_TOP)
        if self.mould_c is None and self.oven_c is None:
            return (plain,)
        top = replace(AIR_TOP, around_c=self.oven_c)
        if self.mould_c is not None:
            film = base.film_w_m2k or FACES[ToolSide.METAL].film_w_m2k
            return plain, (Face(film, self.mould_c), top)
        return plain, (replace(base, around_c=self.oven_c), top)


def setting_of(pour: Pour) -> Setting:
    """Return the setting of a pour."""
    return Setting(
        pour.tool_side, *(_float(value) for value in (pour.mix_c, pour.mould_c, pour.oven_c))
    )


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
