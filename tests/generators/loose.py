"""A sensor that is not held tight: it rocks on a soft mount, lightly damped."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import bilinear, lfilter

from tests.generators.ice import turn_back

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

GRAVITY_M_S2 = 9.81


@dataclass(frozen=True)
class LooseMount:
    """A box on a soft pivot (strap, foam, a loose screw): one turn about one axis.

    Sizes of a small logger, stiffness of a strap and damping of bolted or strapped joints: common practice, no source.

    Parameters
    ----------
    hz, damping : float
        Resonance [Hz] and damping ratio.
    axis : tuple of float
        Unit axis of the pivot, segment frame.
    arm_m : tuple of float
        From the pivot to the centre of the box [m].
    gyration_m : float
        Radius of gyration of the box about its centre [m].
    """

    hz: float
    damping: float
    axis: tuple[float, float, float]
    arm_m: tuple[float, float, float]
    gyration_m: float = 0.013


def draw_loose_mount(rng: np.random.Generator) -> LooseMount:
    """Draw a mount as loose as one meets them: 12 to 50 Hz, 2 to 6 % of critical damping."""
    axis = rng.normal(size=3)
    axis /= np.linalg.norm(axis)
    across = np.cross(axis, rng.normal(size=3))
    arm = across / np.linalg.norm(across) * np.exp(rng.uniform(np.log(0.0007), np.log(0.005)))
    return LooseMount(
        float(np.exp(rng.uniform(np.log(12.0), np.log(50.0)))),
        rng.uniform(0.02, 0.06),
        (float(axis[0]), float(axis[1]), float(axis[2])),
        (float(arm[0]), float(arm[1]), float(arm[2])),
    )


def rocked(mount: LooseMount, force: Array, rate: Array, grid_hz: float) -> tuple[Array, Array]:
    """Specific force [m/s^2] and rate [rad/s] as the rocking box feels them, shape (n, 3) each.

    The box is driven by the skate's own angular acceleration and by its specific force at the pivot, which
    pulls at the centre of the box; gravity's part of it at the start is what the pivot is bent by at rest.
    """
    axis, arm = np.asarray(mount.axis), np.asarray(mount.arm_m)
    inertia = mount.gyration_m**2 + float(arm @ arm)
    torque = np.cross(arm, -force) @ axis / inertia - np.gradient(rate @ axis, 1.0 / grid_hz)
    torque -= torque[0]
    omega = 2.0 * np.pi * mount.hz
    b, a = bilinear([1.0], [1.0, 2.0 * mount.damping * omega, omega**2], grid_hz)
    turned = np.asarray(lfilter(b, a, torque))
    turning = np.gradient(turned, 1.0 / grid_hz)
    growing = np.gradient(turning, 1.0 / grid_hz)
    felt = turn_back(force, axis, turned) + growing[:, None] * np.cross(axis, arm)
    felt += (turning**2)[:, None] * np.cross(axis, np.cross(axis, arm))
    return felt, turn_back(rate, axis, turned) + turning[:, None] * axis
