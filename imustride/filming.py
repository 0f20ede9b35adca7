"""A film beside a run: what of the run can be seen or heard in it, on the run's clock."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.constants import SIDES
from imustride.errors import SignalQualityError
from imustride.recording import Recording
from imustride.session import Sensor
from imustride.settings import Settings
from imustride.synchronisation.shared import shared_shocks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.kinematics import Kinematics
    from imustride.results import RunResult


def shocks_before_s(run: RunResult, settings: Settings | None = None) -> NDArray[np.float64]:
    """Return the shocks that both skates felt before the run, which a film lets hear, in order.

    Parameters
    ----------
    run : RunResult
    settings : Settings, optional

    Returns
    -------
    ndarray, shape (k,)
        Times on the run's clock [s].

    Raises
    ------
    SignalQualityError
        If there is none: the log begins later, or only one skate was measured.
    """
    if set(run.kinematics) != set(SIDES):
        message = "both skates are needed to tell a shared shock; use --blade-off-at or --offset"
        raise SignalQualityError(message)
    left, right = (run.kinematics[side] for side in SIDES)
    found = shared_shocks(
        _recorded(left), _recorded(right), (left.cut, right.cut), (settings or Settings()).shocks
    )
    if not found.before:
        message = "no shared shock was found before the run; use --blade-off-at or --offset"
        raise SignalQualityError(message)
    return np.asarray(run.clocks["left"].reference(found.shared_s[: found.before]))


def first_blade_off_s(run: RunResult) -> float:
    """Return when the first blade of the run leaves the ice, on the run's clock [s].

    Raises
    ------
    SignalQualityError
        If no blade does.
    """
    first_s = run.pushes["blade_off_s"].min()
    if not np.isfinite(first_s):
        message = "no blade-off was found; use --offset"
        raise SignalQualityError(message)
    return float(first_s)


def _recorded(moved: Kinematics) -> Recording:
    """Return a skate's signals as a recording: a shock is as sharp in the axes of the skate as in the sensor's."""
    return Recording(
        Sensor(place="left_skate" if moved.side == "left" else "right_skate"),
        moved.start_s,
        moved.rate_hz,
        moved.acceleration_m_s2,
        moved.angular_velocity_rad_s,
        moved.measured,
        moved.clipped,
    )
