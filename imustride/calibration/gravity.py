"""Gravity where the sensors were used."""

from __future__ import annotations

import math

from imustride.constants import (
    FREE_AIR_GRADIENT_S2,
    STANDARD_GRAVITY_M_S2,
    WGS84_ECCENTRICITY_SQUARED,
    WGS84_EQUATOR_M_S2,
    WGS84_SOMIGLIANA_K,
)

# What gravity at rest shows in the units of files.
GRAVITY_IN = {"m/s^2": STANDARD_GRAVITY_M_S2, "g": 1.0, "mg": 1000.0}


def unit_it_looks_like(gravity: float, within: float) -> str:
    """Say in which unit a file seems to be, by the gravity it shows at rest.

    Parameters
    ----------
    gravity : float
        As it stands in the file.
    within : float
        How far a real sensor may be off, as a part.
    """
    likely = [unit for unit, level in GRAVITY_IN.items() if abs(gravity / level - 1) <= within]
    return f"this looks like {likely[0]}" if likely else "this is no known unit: counts?"


def local_gravity_m_s2(latitude_deg: float | None, height_m: float = 0.0) -> float:
    """Normal gravity of the WGS-84 ellipsoid; standard gravity where nobody knows the latitude.

    Parameters
    ----------
    latitude_deg : float or None
        Geodetic latitude [deg].
    height_m : float
        Height above the ellipsoid [m].

    Returns
    -------
    float
        Acceleration of gravity [m/s^2].

    Notes
    -----
    Somigliana's closed formula with the free-air gradient. Real gravity departs from it by less
    than 0.001 m/s^2 nearly everywhere.

    References
    ----------
    NGA.STND.0036, World Geodetic System 1984, section 4.

    Examples
    --------
    >>> round(local_gravity_m_s2(45.0), 6)
    9.806198
    """
    if latitude_deg is None:
        return STANDARD_GRAVITY_M_S2
    sine_squared = math.sin(math.radians(latitude_deg)) ** 2
    surface = (
        WGS84_EQUATOR_M_S2
        * (1 + WGS84_SOMIGLIANA_K * sine_squared)
        / math.sqrt(1 - WGS84_ECCENTRICITY_SQUARED * sine_squared)
    )
    return surface - FREE_AIR_GRADIENT_S2 * height_m
