r"""
Thermal explosion theory: the size at which a body that heats itself can no longer stay cool.

Steady balance with no reactant used up: ``theta'' + (j/x) theta' + delta exp(theta) = 0``, with
``theta = E (T - Ta) / (R Ta^2)`` and ``delta = E q0 a^2 / (k R Ta^2)``. Real lifts use up
reactant, so nothing jumps at the critical value: it explains why depth counts twice, and plans
nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from planning.core.casting import require
from planning.core.casting.arrhenius import GAS_CONSTANT_J_MOLK, KELVIN
from planning.core.casting.conduction import SHAPES
from planning.core.casting.faces import Face
from planning.core.casting.kinetics import rate_at
from planning.core.casting.lift_curve import known
from planning.core.casting.system import SystemData


@dataclass(frozen=True)
class Critical:
    """The critical parameter, and the centre's dimensionless rise there."""

    delta: float
    theta_max: float


@lru_cache(maxsize=64)
def critical(shape: str, biot: float = math.inf) -> Critical:
    """
    Return the largest delta with a steady state.

    Parameters
    ----------
    shape : str
        'slab', 'cylinder' or 'sphere'.
    biot : float
        Film coefficient times half depth or radius over conductivity; infinity for a held surface.

    Returns
    -------
    Critical
        Delta and the centre's theta.

    Raises
    ------
    ValueError
        If the shape is unknown or `biot` is not positive.

    Notes
    -----
    In ``xi = x sqrt(delta exp(theta_max))`` there is one profile u from the centre outwards, with
    ``u(0) = 0``. Cutting it at xi gives the steady state of
    ``delta = xi^2 exp(u + xi u'/Bi)``; the cut where that is largest is an event of one
    integration.

    References
    ----------
    .. [1] 0.88, 2 and 3.32 in the abstract of "Thermal explosions and the disappearance of
       criticality at small activation energies: exact results for the slab" (index record read).
       Rows P001-P011 of the reference cases.

    Examples
    --------
    >>> round(critical("cylinder").delta, 6), round(critical("sphere").delta, 6)
    (2.0, 3.321992)
    """
    from scipy.integrate import solve_ivp

    if shape not in SHAPES:
        raise ValueError(f"shape is {shape!r}; it must be one of {', '.join(SHAPES)}")
    if not biot > 0:
        raise ValueError(f"biot is {biot:g}; it must be above 0")
    j, loss = SHAPES[shape], 0.0 if math.isinf(biot) else 1 / biot

    def profile(xi: float, y: list[float]) -> list[float]:
        if xi == 0:
            return [y[1], -math.exp(y[0]) / (1 + j)]
        return [y[1], -math.exp(y[0]) - j * y[1] / xi]

    def largest(xi: float, y: list[float]) -> float:
        bend = profile(xi, y)[1]
        return 2 + xi * y[1] + xi * loss * (y[1] + xi * bend)

    largest.terminal = True  # type: ignore[attr-defined]
    largest.direction = -1  # type: ignore[attr-defined]
    cut = solve_ivp(profile, (0, 10), [0.0, 0.0], events=largest, rtol=1e-11, atol=1e-13)
    xi, (u, slope) = float(cut.t_events[0][0]), cut.y_events[0][0]
    theta_max = -float(u) - loss * xi * float(slope)
    return Critical(xi * xi * math.exp(-theta_max), theta_max)


@lru_cache(maxsize=64)
def critical_slab_arrhenius(epsilon: float) -> Critical:
    """
    Return the critical delta of a held slab whose rate is Arrhenius and not exponential.

    Parameters
    ----------
    epsilon : float
        ``R Ta / E``, 0 to below 0.2 (beyond about 0.24 there is no criticality).

    Returns
    -------
    Critical
        Delta and the centre's theta. Row P012 of the reference cases.

    Raises
    ------
    ValueError
        If `epsilon` lies outside its range.
    """
    from scipy.integrate import solve_ivp
    from scipy.optimize import minimize_scalar

    require.within(0.0, 0.2, epsilon=epsilon)

    def bend(_xi: float, y: list[float]) -> list[float]:
        return [y[1], -math.exp(y[0] / (1 + epsilon * y[0]))]

    def cold(_xi: float, y: list[float]) -> float:
        return y[0]

    cold.terminal = True  # type: ignore[attr-defined]

    def delta(theta_max: float) -> float:
        cut = solve_ivp(bend, (0, 20), [theta_max, 0.0], events=cold, rtol=1e-10, atol=1e-12)
        return float(cut.t_events[0][0]) ** 2

    best = minimize_scalar(
        lambda t: -delta(t), bounds=(0.5, 1.2 + 8 * epsilon), method="bounded",
        options={"xatol": 1e-7},
    )  # fmt: skip
    return Critical(-float(best.fun), float(best.x))


def delta_of(
    half_depth_m: float,
    heating_w_m3: float,
    e_j_mol: float,
    conductivity_w_mk: float,
    around_c: float,
) -> float:
    """Return delta of a body: ``E q0 a^2 / (k R Ta^2)``, q0 at the temperature around it."""
    require.positive(
        half_depth_m=half_depth_m, heating_w_m3=heating_w_m3, e_j_mol=e_j_mol,
        conductivity_w_mk=conductivity_w_mk,
    )  # fmt: skip
    around_k = around_c + KELVIN
    per_k = e_j_mol / (GAS_CONSTANT_J_MOLK * around_k**2)
    return per_k * heating_w_m3 * half_depth_m**2 / conductivity_w_mk


@dataclass(frozen=True)
class LiftCriticality:
    """Where a lift stands by the theory: past 1 it could not stay cool, were nothing used up."""

    delta: float
    critical_delta: float

    @property
    def share(self) -> float:
        """Delta over its critical value."""
        return self.delta / self.critical_delta


def lift_criticality(
    system: SystemData, depth_mm: float, shop_c: float, base: Face, top: Face
) -> LiftCriticality | None:
    """
    Compare a lift with the theory, to explain its temperature and not to plan by.

    Parameters
    ----------
    system : SystemData
        With kinetics and heat properties.
    depth_mm : float
        Depth of the lift, mm.
    shop_c : float
        Temperature of the shop, C.
    base, top : Face
        An insulated face makes the whole depth the half depth of a symmetric slab; two losing
        faces are taken with the mean of their films. The rate is Arrhenius, not exponential.

    Returns
    -------
    LiftCriticality or None
        None when no face loses heat or the mix makes none at the start.

    Raises
    ------
    ValueError
        If the system has no kinetics or a figure is out of range.
    """
    kinetics, thermal = known(system)
    require.positive(depth_mm=depth_mm)
    films = [face.film_w_m2k for face in (base, top) if face.film_w_m2k > 0]
    heating = (
        thermal.density_kg_m3 * thermal.reactive_fraction * thermal.heat_j_kg
        * rate_at(kinetics, shop_c, kinetics.start_conversion)
    )  # fmt: skip
    if not films or heating <= 0:
        return None
    half_m = depth_mm / 1000 / len(films)
    biot = sum(films) / len(films) * half_m / thermal.conductivity_w_mk
    energy = kinetics.e1_j_mol if kinetics.a1_per_s > 0 else kinetics.e2_j_mol
    if energy <= 0:
        return None
    delta = delta_of(half_m, heating, energy, thermal.conductivity_w_mk, shop_c)
    epsilon = round(GAS_CONSTANT_J_MOLK * (shop_c + KELVIN) / energy, 3)
    arrhenius = critical_slab_arrhenius(min(epsilon, 0.2)).delta / critical("slab").delta
    return LiftCriticality(delta, critical("slab", biot).delta * arrhenius)
