"""What is drawn for one simulated run: the skater, the run's conditions, the two devices.

`SEVERAL` names the conditions that differ between the runs of a day; the others belong to the day.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

GRADES = ("good", "poor", "real_ice")
Shock = Literal["heels", "knock"]
Stop = Literal["plough", "hockey"]
Point = Literal["contact", "middle"]


SEVERAL = (
    "lead_in_s",
    "shock_apart_s",
    "stance_s",
    "shuffle",
    "extra_time_s",
    "glide_s",
    "stop_m_s2",
    "quiet_s",
    "stumble_ratio",
    "log_begins_late",
    "log_ends_early",
)


@dataclass(frozen=True, slots=True)
class Skater:
    """How one athlete skates; the same over the runs of a day.

    Ratios of double support are of a stride. Asymmetries are symmetry indices, positive: right
    larger. Angles named edge are positive towards the inside edge, pitch positive toe-down, turn
    positive outward.
    """

    peak_speed_m_s: float
    speed_rise_s: float  # time constant of the mono-exponential speed
    stride_time_s: float
    stride_growth_ratio: float  # change of the stride time over the run, of its mean
    quick_start_ratio: float  # shortening of the first strides
    double_support_first_ratio: float
    double_support_last_ratio: float
    first_lift: str  # side of the foot that lifts first
    land_ahead_m: float  # blade-on ahead of the body
    land_beside_m: float
    leave_behind_m: float  # blade-off behind the body
    reach_m: float  # blade-off beside the body
    weave_m: float  # the body's own sideways swing at a stride of one second
    toe_out_left_deg: float
    toe_out_right_deg: float
    stance_pitch_deg: float
    stance_roll_deg: float
    stance_width_m: float
    start_turn_deg: float  # largest turn-out of the first steps
    turn_change_deg: float  # of the running direction in one contact
    edge_land_deg: float
    edge_push_deg: float
    edge_lead_s: float  # end of leaning over after blade-off
    pitch_rate_deg_s: float
    rise_time_s: float
    rise_lead_s: float  # fastest heel rise after blade-off
    early_rise_deg: float  # slow heel rise before the fast one
    heel_up_ratio: float  # share of the swing in which the heel stays up
    land_pitch_deg: float
    flat_pitch_deg: float
    slap: bool
    slap_time_s: float
    lift_m: float
    lift_skew: float
    lift_quick_ratio: float  # share of the lift that comes and goes within the early swing
    landing_speed_m_s: float
    landing_time_s: float
    load_rise_s: float
    profile_skew: float
    profile_sharpness_ratio: float
    tremor_deg: float
    variation_ratio: float
    steer_ratio: float  # share of the roll-pitch coupling taken out of the running direction
    toe_pivot: bool
    contact_asymmetry_percent: float
    rate_asymmetry_percent: float
    edge_asymmetry_percent: float
    blade_length_m: float
    rocker_radius_m: float
    body_lead_m: float  # the gate's beam sees the body ahead of the feet
    start_behind_m: float  # feet behind the first gate


@dataclass(frozen=True, slots=True)
class Conditions:
    """Protocol, ice and mishaps of a run."""

    lead_in_s: float
    shock_kind: Shock
    shock_height_m: float
    shock_apart_s: float
    stance_s: float
    sway_deg: float
    sway_hz: float
    shuffle: bool
    extra_time_s: float  # of pushing beyond the last gate
    glide_s: float
    plough_deg: float
    stop_kind: Stop
    stop_m_s2: float
    quiet_s: float
    ice_vibration_m_s2: float  # rms of the three axes at 8 m/s
    vibration_low_hz: float
    vibration_high_hz: float
    vibration_speed_power: float
    vibration_load_power: float
    vibration_turn_deg_s: float  # rms of the angular rate for each m/s^2
    skid_m_s: float
    chatter_m_s: float
    chatter_hz: float
    path_curve_deg: float  # change of heading over 30 m
    stumble_ratio: float  # 0 none .. 1 nearly down
    slip_point: Point  # the point of the blade that does not move sideways
    log_begins_late: bool
    log_ends_early: bool


@dataclass(frozen=True, slots=True)
class Device:
    """One sensor and how it is worn."""

    rate_hz: float
    clock_offset_s: float
    clock_drift_ppm: float
    stamp_jitter_s: float
    mount_quaternion: tuple[float, float, float, float]  # segment_from_sensor, scalar last
    axes_declared: bool
    position_m: tuple[float, float, float]
    position_error_m: tuple[float, float, float]
    position_declared: bool
    acceleration_bias_m_s2: tuple[float, float, float]
    acceleration_scale_ratio: tuple[float, float, float]
    acceleration_misalignment_deg: tuple[float, float, float]
    acceleration_noise_m_s2: float
    gyro_bias_deg_s: tuple[float, float, float]
    gyro_scale_ratio: tuple[float, float, float]
    gyro_misalignment_deg: tuple[float, float, float]
    gyro_noise_deg_s: float
    acceleration_range_g: float
    angular_velocity_range_deg_s: float
    low_pass_ratio: float  # cut as a share of the rate; 0 none
    low_pass_order: int
    low_pass_declared: bool
    delay_s: float
    gaps: int
    gap_longest_s: float
    gap_as_nan: bool
    boot_flex_deg: float
    flex_axis: tuple[float, float, float]
    bracket_hz: float  # resonance of the holder; 0 rigid
    bracket_damping_ratio: float
    slip_deg: float  # turn of the sensor in its mount in mid-run
