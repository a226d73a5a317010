"""Dew point of the shop's air, and whether a surface is dry enough to coat or pour on."""

from __future__ import annotations

import math
from dataclasses import dataclass

from planning.core.casting import require

MAGNUS_HPA, MAGNUS_B, MAGNUS_C = 6.112, 17.62, 243.12
"""World Meteorological Organization's Magnus coefficients over water, -45 to 60 C (read in the
documentation of a solar library)."""

LEAST_MARGIN_K = 3.0
"""Surface above dew point. Coatings practice, read in a paint manual and a marine painting guide;
ISO 8502-4 gives guidance on the probability of condensation (scope read)."""

_COLDEST_C, _HOTTEST_C = -45.0, 60.0


@dataclass(frozen=True)
class SurfaceCheck:
    """Whether a surface may be coated or poured on, and what would make it so."""

    dew_point_c: float
    margin_k: float
    least_margin_k: float
    dry_enough: bool
    highest_humidity_percent: float
    """Relative humidity at which this surface would just keep the margin."""
    lowest_surface_c: float
    """Surface temperature that would just keep the margin in this air."""


def saturation_pressure_hpa(
    temp_c: float, coefficients: tuple[float, float, float] = (MAGNUS_HPA, MAGNUS_B, MAGNUS_C)
) -> float:
    """Return the vapour pressure of water at saturation, hPa (Magnus form)."""
    require.within(_COLDEST_C, _HOTTEST_C, temp_c=temp_c)
    a, b, c = coefficients
    return a * math.exp(b * temp_c / (c + temp_c))


def dew_point_c(
    air_c: float,
    humidity_percent: float,
    coefficients: tuple[float, float, float] = (MAGNUS_HPA, MAGNUS_B, MAGNUS_C),
) -> float:
    r"""
    Return the temperature at which this air begins to condense.

    Parameters
    ----------
    air_c : float
        Air temperature, C, -45 to 60.
    humidity_percent : float
        Relative humidity, %, above 0 and at most 100.
    coefficients : tuple of float, shape (3,)
        Magnus coefficients: hPa, none, C.

    Returns
    -------
    float
        Dew point, C: :math:`C\gamma/(B-\gamma)`, :math:`\gamma=\ln(RH/100)+BT/(C+T)`.

    Raises
    ------
    ValueError
        If a value lies outside its range.

    References
    ----------
    .. [1] Magnus inverse with WMO coefficients; rows P111-P120 of the reference cases; within
       0.03 C of the Sonntag equation. Basis: computed here, printed table values agree.

    Examples
    --------
    >>> round(dew_point_c(20.0, 50.0), 2)
    9.26
    """
    require.within(_COLDEST_C, _HOTTEST_C, air_c=air_c)
    require.positive(humidity_percent=humidity_percent)
    require.within(0.0, 100.0, humidity_percent=humidity_percent)
    _, b, c = coefficients
    gamma = math.log(humidity_percent / 100) + b * air_c / (c + air_c)
    return c * gamma / (b - gamma)


def check_surface(
    air_c: float, humidity_percent: float, surface_c: float, least_margin_k: float = LEAST_MARGIN_K
) -> SurfaceCheck:
    """
    Judge a surface against the dew point of the air over it.

    Parameters
    ----------
    air_c, surface_c : float
        Temperatures, C, -45 to 60.
    humidity_percent : float
        Relative humidity, %, above 0 and at most 100.
    least_margin_k : float
        How far the surface must be above the dew point, K.

    Returns
    -------
    SurfaceCheck
        Margin, verdict, and the humidity or surface temperature that would just do.

    Raises
    ------
    ValueError
        If a value lies outside its range.
    """
    require.within(_COLDEST_C, _HOTTEST_C, surface_c=surface_c)
    require.within(0.0, 20.0, least_margin_k=least_margin_k)
    dew_c = dew_point_c(air_c, humidity_percent)
    margin_k = surface_c - dew_c
    coldest_c = max(surface_c - least_margin_k, _COLDEST_C)
    humidity = 100 * saturation_pressure_hpa(coldest_c) / saturation_pressure_hpa(air_c)
    return SurfaceCheck(
        dew_point_c=dew_c,
        margin_k=margin_k,
        least_margin_k=least_margin_k,
        dry_enough=margin_k >= least_margin_k,
        highest_humidity_percent=min(100.0, humidity),
        lowest_surface_c=dew_c + least_margin_k,
    )
