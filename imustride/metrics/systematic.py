"""What stays wrong in the same way all day: the systematic part of the comparison of left and right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.symmetry import Systematic

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(frozen=True, slots=True)
class SystematicSettings:
    """Standard deviations of one foot's error that is the same in all runs of a day.

    Figures in SI are measured: standard deviation between feet of the mean error of a foot's pushes, the
    scatter of single pushes taken out.
    """

    blade_on_sd_s: float = 0.005
    blade_off_sd_s: float = 0.004
    contact_time_sd_s: float = 0.006
    gyro_scale_calibrated_sd: float = 0.003
    gyro_scale_sd: float = 0.01
    edge_sd_deg: float = 0.3
    roll_to_pitch: float = 0.3  # of the rates at the end of a push: what a wrong forward axis mixes in
    contact_way_m: float = 2.0  # that a blade glides in one contact (7 m/s for 0.3 s)
    pitch_at_edge_rad: float = 0.2  # while the edge angle is largest, likewise


@dataclass(frozen=True, slots=True)
class FootError:
    """What is known of one foot's sensor: calibrated or not, and the forward axis' SD in each run [rad]."""

    calibrated: bool
    forward_sd_rad: Sequence[float]


def systematic_parts(
    feet: Mapping[str, FootError],
    clock_sd_s: Sequence[float],
    lane_sd_rad: Sequence[float],
    settings: SystematicSettings,
) -> dict[str, Systematic]:
    """Return the systematic part of each metric that has one stated.

    Parameters
    ----------
    feet : mapping of side to FootError
    clock_sd_s : sequence of float
        Standard deviation of the joined time in each run [s]; every run is joined anew.
    lane_sd_rad : sequence of float
        Standard deviation of the lane's direction in each run [rad]. It comes from the same sensors in the
        same mounts, so runs may err alike: it does not shrink with their number.
    settings : SystematicSettings

    Notes
    -----
    Errors of the two feet are independent. A step of the left foot begins with its blade-on and ends with the
    right one's, the next the other way round: in right - left the detection's and the clock's error count
    twice. The lane's error adds to one foot what it takes from the other. In a stride the same foot's detection error cancels, and clocks drift by 0.01 % only.
    """
    both = np.sqrt(2.0)
    clock_s = float(np.sqrt(np.sum(np.square(clock_sd_s))) / max(len(clock_sd_s), 1))
    forward = [_rms(foot.forward_sd_rad) for foot in feet.values()]
    scale = [
        settings.gyro_scale_calibrated_sd if foot.calibrated else settings.gyro_scale_sd
        for foot in feet.values()
    ]
    rate = np.hypot(scale, settings.roll_to_pitch * np.array(forward))
    edge_deg = np.hypot(settings.edge_sd_deg, np.degrees(settings.pitch_at_edge_rad * np.array(forward)))
    lane = 2.0 * _rms(lane_sd_rad)
    instants_s = np.hypot(settings.blade_on_sd_s, settings.blade_off_sd_s)
    return {
        "contact_time_s": Systematic(difference_sd=float(both * settings.contact_time_sd_s)),
        "swing_time_s": Systematic(difference_sd=float(both * settings.contact_time_sd_s)),
        "stride_time_s": Systematic(difference_sd=0.0),
        "stride_rate_hz": Systematic(difference_sd=0.0),
        "step_time_s": Systematic(difference_sd=float(2 * np.hypot(both * settings.blade_on_sd_s, clock_s))),
        "double_support_s": Systematic(difference_sd=float(np.hypot(both * instants_s, 2 * clock_s))),
        "push_off_angular_velocity_deg_s": Systematic(index_sd_percent=float(100 * np.linalg.norm(rate))),
        "edge_angle_deg": Systematic(difference_sd=float(np.linalg.norm(edge_deg))),
        "track_angle_deg": Systematic(
            difference_sd=float(np.degrees(np.hypot(lane, np.linalg.norm(forward))))
        ),
        "lateral_travel_m": Systematic(difference_sd=float(lane * settings.contact_way_m)),
    }


def _rms(values: Sequence[float]) -> float:
    """Root mean square; 0 of nothing."""
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else 0.0
