"""How fast the skate turns toe-down at the end of a push."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.smoothing import polynomial_smoother
from imustride.metrics.view import any_in
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView

BEFORE_S, AFTER_S = 0.15, 0.10
# Long enough to remove ice vibration; a fourth-order fit over 30 ms loses 0.3 % of a peak as narrow as 20 ms,
# over 60 ms 2.4 % (measured on simulated runs, tests/benchmark/accuracy.py).
SMOOTHING_S = 0.03


def measure(view: PushView) -> NDArray[np.float64]:
    """Return the largest rate about the skate's y axis around each blade-off [deg/s], shape (k,).

    Empty where a sample of the window is missing or clipped.
    """
    kinematics = view.kinematics
    weights = polynomial_smoother(round(SMOOTHING_S * kinematics.rate_hz), order=4)
    half = len(weights) // 2
    smooth = np.convolve(kinematics.angular_velocity_rad_s[:, 1], weights, "valid")
    first, stop = view.samples(view.off_s - BEFORE_S, view.off_s + AFTER_S)
    unknown = any_in(~kinematics.measured | kinematics.clipped[:, 1], first, stop)
    out = np.full(len(first), np.nan)
    # The smoothed signal begins half a window behind the recording.
    begin, end = np.maximum(first - half, 0), np.minimum(stop - half, len(smooth))
    for k in np.flatnonzero((end - begin > 2) & (stop > first) & ~unknown):
        out[k] = peak(smooth[begin[k] : end[k]])
    return np.asarray(np.degrees(out))


def peak(values: NDArray[np.float64]) -> float:
    """Largest value of a sampled curve, by a parabola through its top three samples."""
    top = int(np.argmax(values))
    if top in {0, len(values) - 1}:
        return float(values[top])
    before, at, after = values[top - 1 : top + 2]
    bend = before - 2 * at + after
    return float(at - (after - before) ** 2 / (8 * bend)) if bend < 0 else float(at)


METRIC = Metric(
    name="push_off_angular_velocity_deg_s",
    unit="deg/s",
    number=1,
    definition=(
        "largest rate of the rigid skate (ice vibration removed) about its y axis as levelled in the "
        "quiet stance, from 0.15 s before to 0.10 s after blade-off; positive toe-down"
    ),
    source="compare Houdijk et al. 2000 (plantar flexion velocity, klapskate); no norm for fixed blades",
    symmetry="index",
    measure=measure,
)
