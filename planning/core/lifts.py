"""Cut a pour into the fewest lifts, ending each where it costs the fewest pots."""

from __future__ import annotations

from planning.core.batches import pots_for
from planning.core.plan import Lift
from planning.core.problem import Pour, Settings, System

EDGE = 1e-6


class NoLifts(ValueError):
    """A pour that cannot be cut into lifts; says why."""


def deepest_mm(pour: Pour, system: System) -> float:
    """Return the deepest lift allowed, the stricter of system and pour, mm."""
    if pour.deepest_lift_mm is None:
        return system.deepest_lift_mm
    return min(system.deepest_lift_mm, pour.deepest_lift_mm)


def split(
    pour: Pour,
    system: System,
    settings: Settings,
    usable_kg: float,
    done: tuple[Lift, ...] = (),
) -> tuple[Lift, ...]:
    """
    Cut a pour into lifts.

    The fewest lifts (and `settings.extra_lifts` more where the layers allow); among those the
    boundaries with the least sum of pots, then the most even depths. Dynamic programming over the
    layer edges.

    Parameters
    ----------
    pour, system, settings
        What is cast, of what, and the foreman's choices.
    usable_kg : float
        The most one pot can pour, kg.
    done : tuple of Lift
        Lifts already fixed, from the bottom without a gap; only the layers above are cut.

    Returns
    -------
    tuple of Lift
        From the bottom up, `done` included.

    Raises
    ------
    NoLifts
        If a layer is deeper than a lift may be, no cut keeps the least depth, or a lift is fixed
        above one that is not.
    """
    if [x.lift for x in done] != list(range(len(done))):
        raise NoLifts(
            f"pour {pour.name or pour.id} has lift {done[-1].lift + 1} fixed, but a lift below it "
            "is not"
        )
    first = done[-1].last_layer if done else 0
    layers = pour.layers
    limit = deepest_mm(pour, system)
    for number, layer in enumerate(layers[first:], start=first):
        if layer.depth_mm > limit + EDGE:
            raise NoLifts(
                f"layer {number + 1} of pour {pour.name or pour.id} is "
                f"{layer.depth_mm:g} mm deep; a lift may be {limit:g} mm"
            )
    if first == len(layers):
        return done
    cuts = _cuts(pour, settings, limit, usable_kg, first, bool(done))
    if cuts is None:
        raise NoLifts(
            f"pour {pour.name or pour.id} has no cut into lifts between "
            f"{settings.least_lift_mm:g} mm and {limit:g} mm at its layer edges"
        )
    lifts = list(done)
    for start, end in zip([first, *cuts[:-1]], cuts, strict=True):
        part = layers[start:end]
        depth, mass = sum(x.depth_mm for x in part), sum(x.mass_kg for x in part)
        lifts.append(Lift(pour.id, len(lifts), start, end, depth, mass))
    return tuple(lifts)


def _cuts(
    pour: Pour, settings: Settings, limit: float, usable_kg: float, first: int, begun: bool
) -> list[int] | None:
    """Return the upper edges of the best lifts above layer `first`, or None."""
    layers = pour.layers
    last = len(layers)
    # best[edge][count] = (pots, sum of squared depths, lower edge) of `count` lifts up to edge
    best: list[dict[int, tuple[int, float, int]]] = [{} for _ in range(last + 1)]
    best[first][0] = (0, 0.0, first)
    for lower in range(first, last):
        depth = mass = 0.0
        for upper in range(lower + 1, last + 1):
            depth += layers[upper - 1].depth_mm
            mass += layers[upper - 1].mass_kg
            if depth > limit + EDGE:
                break
            whole = lower == first and upper == last and not begun
            if depth < settings.least_lift_mm - EDGE and not whole:
                continue
            pots = pots_for(mass, usable_kg)
            for count, (p, squares, _) in best[lower].items():
                found = (p + pots, squares + depth * depth, lower)
                if count + 1 not in best[upper] or found < best[upper][count + 1]:
                    best[upper][count + 1] = found
    if not best[last]:
        return None
    fewest = min(best[last])
    wanted = min(fewest + settings.extra_lifts, max(best[last]))
    count = max(c for c in best[last] if c <= wanted)
    cuts, edge = [], last
    while count:
        cuts.append(edge)
        edge, count = best[edge][count][2], count - 1
    return cuts[::-1]
