"""Running edge of the blade: nearly flat in the middle, rounded towards toe and heel."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import CubicSpline

if TYPE_CHECKING:
    from tests.generators.shapes import Array


class Blade:
    """Edge as a smooth convex curve in the plane of the blade, given by the slope of its tangent.

    The arc length from the middle is ``radius * slope / sqrt(1 + (radius * slope / half)^2)``: a
    rocker of the given radius in the middle that ends `half_m` in front and behind.

    Parameters
    ----------
    radius_m, half_m : float
        Radius in the middle and half length [m].
    """

    def __init__(self, radius_m: float, half_m: float) -> None:
        self.radius_m, self.half_m = radius_m, half_m
        bend = np.linspace(-9.0, 9.0, 4001)  # asinh(radius * slope / half)
        slope = np.sinh(bend) * half_m / radius_m
        keep = np.abs(slope) < 1.5
        bend, slope = bend[keep], slope[keep]
        arc_rate = half_m / np.cosh(bend) ** 2  # d arc / d bend
        x = CubicSpline(bend, arc_rate * np.cos(slope)).antiderivative()
        z = CubicSpline(bend, arc_rate * np.sin(slope)).antiderivative()
        self._x, self._z = x, z
        self._x0, self._z0 = float(x(0.0)), float(z(0.0))

    def lowest(self, pitch_rad: Array, roll_rad: Array) -> tuple[Array, Array]:
        """Return the point of the edge nearest the ice, forward and up from the middle [m]."""
        slope = np.arctan(np.tan(pitch_rad) / np.cos(roll_rad))
        bend = np.arcsinh(slope * self.radius_m / self.half_m)
        return self._x(bend) - self._x0, self._z(bend) - self._z0
