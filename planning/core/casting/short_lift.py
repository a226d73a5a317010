"""Where a lift ends that got less than planned, and what is left to cast above it."""

from __future__ import annotations

from collections.abc import Sequence

from planning.core.problem import Layer

EDGE_MM = 0.01
"""A layer is not cut this near to its edge."""


def level_without(layers: Sequence[Layer], missing_kg: float) -> float:
    """
    Return the depth that layers reach when some of their mass is missing at the top.

    Parameters
    ----------
    layers : sequence of Layer
        The layers of the lift, from the bottom up; each counts as of one area.
    missing_kg : float
        What did not go in or ran out, kg.

    Returns
    -------
    float
        Depth from the lift's bottom to its surface, mm.

    Raises
    ------
    ValueError
        If nothing would be left, or the mass is below 0 kg.

    Examples
    --------
    >>> level_without([Layer(10, 2.0), Layer(10, 2.0)], 1.0)
    15.0
    """
    have_kg = sum(layer.mass_kg for layer in layers)
    if not 0 <= missing_kg < have_kg:
        raise ValueError(f"{missing_kg:g} kg of {have_kg:g} kg cannot be missing")
    depth_mm, left_kg = sum(layer.depth_mm for layer in layers), missing_kg
    for layer in reversed(layers):
        gone = min(1.0, left_kg / layer.mass_kg)
        depth_mm -= gone * layer.depth_mm
        left_kg -= gone * layer.mass_kg
    return depth_mm


def cut_at(layers: Sequence[Layer], height_mm: float) -> tuple[Layer, ...]:
    """
    Return the same casting with a layer edge at a height; its mass is shared by depth.

    Parameters
    ----------
    layers : sequence of Layer
        From the bottom up.
    height_mm : float
        Height of the new edge over the bottom, mm; within 0.01 mm of an edge nothing is cut.

    Returns
    -------
    tuple of Layer
        One layer more, or as many as before.

    Examples
    --------
    >>> cut_at([Layer(10, 2.0)], 2.5)
    (Layer(depth_mm=2.5, mass_kg=0.5), Layer(depth_mm=7.5, mass_kg=1.5))
    """
    found: list[Layer] = []
    bottom = 0.0
    for layer in layers:
        inside = height_mm - bottom
        bottom += layer.depth_mm
        if inside <= EDGE_MM or inside >= layer.depth_mm - EDGE_MM:
            found.append(layer)
            continue
        part = inside / layer.depth_mm
        found.append(Layer(inside, part * layer.mass_kg))
        found.append(Layer(layer.depth_mm - inside, layer.mass_kg - found[-1].mass_kg))
    return tuple(found)
