"""What stays wrong in the same way all day: the systematic part of the comparison of left and right."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.symmetry import Systematic

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Known:
    """A standard deviation in a good sensor and in another: calibrated or not, fast or slow."""

    good: float
    other: float


BODY_DIFFERENCE_SD = {
    "arm_across_share_ratio": 0.024,
    "arm_push_lag_s": 0.011,
    "foot_to_hip_forward_m": 0.016,
    "foot_to_hip_lateral_m": 0.031,
    "glide_before_extension_s": 0.011,
    "head_shift_lateral_m": 0.007,
    "hip_ahead_of_ankle_m": 0.014,
    "knee_flexion_max_deg": 2.2,
    "knee_flexion_off_deg": 4.7,
    "knee_flexion_on_deg": 2.1,
    "leg_angle_off_deg": 3.9,
    "shank_inclination_max_deg": 1.8,
    "shank_inclination_off_deg": 2.4,
    "shank_inclination_on_deg": 1.9,
    "shank_to_skate_angle_max_deg": 2.8,
    "shoulder_push_lag_s": 0.011,
    "trunk_lean_deg": 0.21,
}
BODY_INDEX_SD_PERCENT = {
    "arm_swing_range_deg": 0.3,
    "head_lateral_range_m": 1.3,
    "head_vertical_range_m": 1.2,
    "knee_extension_ratio": 1.3,
    "knee_extension_velocity_deg_s": 3.0,
    "pelvis_lateral_range_m": 2.1,
    "pelvis_turn_range_deg": 0.5,
    "pelvis_vertical_range_m": 1.9,
    "shoulder_pelvis_separation_deg": 0.7,
    "shoulder_turn_range_deg": 0.8,
}


@dataclass(frozen=True, slots=True)
class SystematicSettings:
    """Standard deviations of one foot's error that is the same in all runs of a day.

    Measured on simulated runs (tests/benchmark/systematic.py, seeds 13000 to 13029, both generators): what one
    foot adds to right - left in the mean errors of a run, the scatter of single pushes taken out; fast or calibrated
    sensors in "good", slow and uncalibrated ones in "poor". What both feet of a skater have in common cancels. With all
    effects of real ice at once, contact times go up to 13 ms and rates to 2 %: half of what is stated
    here is then missing. The residual scale of a calibrated gyroscope: common practice, no source.
    """

    blade_on_sd_s: Known = Known(0.003, 0.005)
    blade_off_sd_s: Known = Known(0.005, 0.009)
    contact_time_sd_s: Known = Known(0.007, 0.010)
    gyro_scale_sd: Known = Known(0.003, 0.012)
    edge_sd_deg: Known = Known(0.3, 0.5)
    track_sd_deg: Known = Known(0.6, 1.5)
    blade_speed_sd_m_s: Known = Known(0.03, 0.055)
    stride_length_sd_m: Known = Known(0.02, 0.035)
    lateral_travel_sd_m: Known = Known(0.01, 0.018)
    # Of the body: right - left of a run with everything else as worn (tests/benchmark/body.py, seeds 9300 to 9311, the
    # larger of both generators): axes found by standing and squats, headings, clocks.
    body_difference_sd: Mapping[str, float] = field(default_factory=lambda: dict(BODY_DIFFERENCE_SD))
    body_index_sd_percent: Mapping[str, float] = field(default_factory=lambda: dict(BODY_INDEX_SD_PERCENT))
    slow_hz: float = 195.0  # below, sampling says less of an instant
    roll_to_pitch: float = 0.2  # of the rates at the end of a push: what a wrong forward axis mixes in
    pitch_at_edge_rad: float = 0.1  # while the edge angle is largest, likewise
    contact_way_m: float = 2.0  # that a blade glides in one contact (7 m/s for 0.3 s)


@dataclass(frozen=True, slots=True)
class FootError:
    """What is known of one foot's sensor; the forward axis' standard deviation in each run [rad]."""

    calibrated: bool
    rate_hz: float
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
    clock_s = float(np.sqrt(np.sum(np.square(clock_sd_s))) / max(len(clock_sd_s), 1))
    lane = 2.0 * _rms(lane_sd_rad)
    fast = [foot.rate_hz >= settings.slow_hz for foot in feet.values()]
    calibrated = [foot.calibrated for foot in feet.values()]
    forward = np.array([_rms(foot.forward_sd_rad) for foot in feet.values()])
    on_s, off_s = _both(settings.blade_on_sd_s, fast), _both(settings.blade_off_sd_s, fast)
    contact_s = float(np.linalg.norm(_both(settings.contact_time_sd_s, fast)))
    rate = np.hypot(_both(settings.gyro_scale_sd, calibrated), settings.roll_to_pitch * forward)
    edge_deg = np.hypot(
        _both(settings.edge_sd_deg, calibrated), np.degrees(settings.pitch_at_edge_rad * forward)
    )
    step_s = 2.0 * np.hypot(np.linalg.norm(on_s), clock_s)
    support_s = np.linalg.norm([*on_s, *off_s, 2.0 * clock_s])
    track_deg = np.linalg.norm([*_both(settings.track_sd_deg, calibrated), np.degrees(lane)])
    lateral_m = np.linalg.norm(
        [*_both(settings.lateral_travel_sd_m, calibrated), lane * settings.contact_way_m]
    )
    speed_m_s = np.linalg.norm(_both(settings.blade_speed_sd_m_s, calibrated))
    length_m = np.linalg.norm(_both(settings.stride_length_sd_m, calibrated))
    body = {name: Systematic(difference_sd=sd) for name, sd in settings.body_difference_sd.items()}
    body |= {name: Systematic(index_sd_percent=sd) for name, sd in settings.body_index_sd_percent.items()}
    return body | {
        "contact_time_s": Systematic(difference_sd=contact_s),
        "swing_time_s": Systematic(difference_sd=contact_s),
        "stride_time_s": Systematic(difference_sd=0.0),
        "stride_rate_hz": Systematic(difference_sd=0.0),
        "step_time_s": Systematic(difference_sd=float(step_s)),
        "double_support_s": Systematic(difference_sd=float(support_s)),
        "push_off_angular_velocity_deg_s": Systematic(index_sd_percent=float(100 * np.linalg.norm(rate))),
        "edge_angle_deg": Systematic(difference_sd=float(np.linalg.norm(edge_deg))),
        "track_angle_deg": Systematic(difference_sd=float(track_deg)),
        "blade_speed_m_s": Systematic(difference_sd=float(speed_m_s)),
        "stride_length_m": Systematic(difference_sd=float(length_m)),
        "lateral_travel_m": Systematic(difference_sd=float(lateral_m)),
    }


def _both(known: Known, good: Sequence[bool]) -> NDArray[np.float64]:
    """Standard deviation of each foot."""
    return np.array([known.good if is_good else known.other for is_good in good])


def _rms(values: Sequence[float]) -> float:
    """Root mean square; 0 of nothing."""
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else 0.0
