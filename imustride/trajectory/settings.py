"""Prior spreads and scales of the joint fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class TrackSettings:
    """Each constraint has one job: see DEVELOPERS (common practice, no source, unless said).

    What is taken for granted of the body at the gates (`lead_m`), of the rocker and of an undeclared sensor's
    place lies within what the simulations draw; DEVELOPERS says what another lead does to the figures.
    """

    step_s: float = 0.02
    knot_s: float = 0.5
    usual_stride_s: float = 0.7
    rest_s: float = 1.0  # of the stance
    default_lever_m: tuple[float, float, float] = (0.0, 0.0, 0.10)
    half_blade_m: float = 0.13
    rocker_radius_m: float = 3.0
    rocker_radius_sd_m: float = 0.6
    measured_rocker_radius_sd_m: float = 0.1
    height_sd_m: float = 0.03
    measured_height_sd_m: float = 0.012
    yaw_sd_rad: float = np.radians(20.0)
    lever_sd_m: float = 0.05
    roll_sd_rad: float = np.radians(2.5)
    mount_sd_rad: float = np.radians(2.0)
    accelerometer_bias_sd_m_s2: float = 0.1
    gyro_bias_sd_rad_s: float = 0.002
    start_sd_m: tuple[float, float] = (0.08, 0.15)
    half_stance_m: float = 0.15
    wander_m_s: float = 0.03  # of the integrated velocity, a second
    # Velocity and attitude after lost samples; landings that clip are short and hard.
    loss_apart_s: float = 0.03
    lost_velocity_sd_m_s: float = 0.1
    lost_acceleration_m_s2: float = 40.0
    lost_turn_sd_rad: float = np.radians(3.0)
    most_losses: int = 12
    wander_factors: tuple[float, ...] = (8.0, 4.0, 2.0, 1.0)  # the run itself says which is likely
    robust_sd: float = 2.5  # where Geman and McClure's weight falls to a quarter
    slip_sd_m_s: float = 0.04
    heading_sd_rad: float = np.radians(0.25)
    sliding_point_sd_m: float = 0.08
    slow_m_s: float = 0.7
    slip_independent_s: float = 0.08
    inside_s: float = 0.03  # of a contact, from its ends
    reach_sd_m: tuple[float, float] = (0.45, 0.30)
    apart_m: float = 0.35
    reach_independent_s: float = 0.35
    beside_sd_m: tuple[float, float] = (0.12, 0.08)
    lane_sd_m: float = 0.6
    lane_independent_s: float = 2.0
    lead_m: float = 0.25
    lead_sd_m: float = 0.10
    start_behind_m: float = 0.5
    start_behind_sd_m: float = 0.4
    start_behind_known_sd_m: float = 0.05
    gate_sd_m: float = 0.07
    stop_sd_m_s: float = 0.08
    longest_s: float = 25.0  # from start to stop, for the stop to say something
    after_s: float = 1.0
    stop_s: float = 0.2  # of the stance after the stop
    # What the covariance does not see (simulated, DEVELOPERS): the covariance as a whole, and the body's own wavering.
    sd_factor: float = 1.4
    body_speed_sd_m_s: float = 0.17
    # A path is doubtful beyond these; a gap of this length loses the attitude (simulated, DEVELOPERS).
    sliding_m_s: float = 1.5
    most_rejected: float = 0.2
    most_strain: float = 5.5
    most_wander: float = 6.0
    longest_gap_s: float = 0.2
    most_gate_sd: float = 4.0
    most_gate_miss_m: float = 0.3
    most_lead: float = 3.5  # standard deviations
    steps: int = 7
    steps_before_gates: int = 2
    after_gated_s: float = 3.0  # behind the last push, where a gate may lie there
