"""Build and habits of the skater above the skates, and the joints of the two legs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from tests.generators.turns import of_columns, unit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tests.generators.shapes import Array

SIDES = ("left", "right")
OUT = {"left": 1.0, "right": -1.0}
SKATES = ("left_skate", "right_skate")
PLACES = (
    "left_shank", "right_shank", "left_thigh", "right_thigh", "left_wrist", "right_wrist", "pelvis", "trunk", "head",
)  # fmt: skip
STRAIGHTEST = 0.985  # share of the straight leg at which a skating knee ends: some 20 degrees are left
MEASURING_M = 0.005

Habits = dict[str, Any]


def draw_habits(of_the_day: np.random.Generator, overrides: Mapping[str, Any]) -> Habits:
    """Draw build and habits; shares of the height after Drillis and Contini (1966), from memory; the rest invented."""
    u = of_the_day.uniform
    habits: Habits = {
        "height_m": u(1.58, 1.95),
        "thigh_share": 0.245 * u(0.97, 1.03),
        "shank_share": 0.246 * u(0.97, 1.03),
        "hip_half_share": u(0.045, 0.055),
        "ankle_height_m": u(0.14, 0.18),
        "ankle_back_m": u(0.03, 0.06),
        "ready_flexion_deg": u(35.0, 60.0),
        "landing_flexion_deg": u(50.0, 75.0),
        "glide_flexion_deg": u(66.0, 98.0),
        "off_flexion_deg": u(15.0, 33.0),
        "extension_share": u(0.35, 0.6),  # of the contact
        "leg_angle_deg": u(37.0, 48.0),  # aimed at; the feet decide
        "hip_ahead_m": u(-0.02, 0.08),  # of the ankle in mid contact
        "sway_lag_deg": u(10.0, 50.0),
        "pelvis_turn_deg": u(3.0, 10.0),
        "pelvis_tilt_deg": u(8.0, 22.0),
        "pelvis_list_deg": u(2.0, 6.0),
        "trunk_lean_deg": u(29.0, 52.0),
        "trunk_bounce_deg": u(1.0, 4.0),
        "trunk_lag_s": u(0.05, 0.12),
        "shoulder_turn_deg": u(7.0, 22.0),
        "shoulder_lag_s": u(-0.08, 0.08),
        "head_lag_s": u(0.1, 0.2),
        "arm_swing_deg": u(28.0, 52.0),
        "arm_across_deg": u(4.0, 28.0),
        "arm_lag_s": u(-0.09, 0.09),
        "arm_difference": u(-0.2, 0.2),
        "flexion_difference_deg": u(-6.0, 6.0),
        "knee_out_deg": u(-4.0, 8.0),
        "hip_follow": u(0.55, 0.85),  # how far the knee follows the direction of the skate
        "straight_error_deg": 1.0,
        "squat_turn_deg": u(5.0, 12.0),
        "squat_flexion_deg": u(65.0, 85.0),
        "wobble_deg": 0.0,
        "body_shock": 1.0,
        "body_rate_hz": None,
    }
    return habits | {name: value for name, value in overrides.items() if name in habits}


@dataclass(frozen=True)
class Build:
    """Lengths of the skater's parts [m]; both sides equal."""

    height_m: float
    thigh_m: float
    shank_m: float
    hip_half_m: float
    ankle_m: tuple[float, float, float]  # from the middle of the running edge, segment frame of the skate

    @property
    def leg_m(self) -> float:
        """Length of the straight leg."""
        return self.thigh_m + self.shank_m

    def share(self, of_height: float) -> float:
        """Length as a share of the height [m]."""
        return of_height * self.height_m


def make_build(h: Habits, widest_m: float) -> Build:
    """Build of the skater; made taller where the feet, whose paths are given, are `widest_m` apart."""
    wanted = 0.62 * widest_m / (h["thigh_share"] + h["shank_share"])
    height = float(min(max(h["height_m"], wanted), max(2.1, h["height_m"])))
    return Build(
        height,
        height * h["thigh_share"],
        height * h["shank_share"],
        height * h["hip_half_share"],
        (-h["ankle_back_m"], 0.0, h["ankle_height_m"]),
    )


def measured(build: Build, rng: np.random.Generator) -> dict[str, float]:
    """Lengths as a tape measures them, each at most 5 mm out."""
    true = {"height_m": build.height_m}
    for side in SIDES:
        true |= {f"{side}_thigh_m": build.thigh_m, f"{side}_shank_m": build.shank_m}
    return {name: value + MEASURING_M * rng.uniform(-1.0, 1.0) for name, value in true.items()}


@dataclass(frozen=True, eq=False)
class Leg:
    """One leg on the fine grid: joints (n, 3) [m] and earth_from_segment (n, 3, 3)."""

    ankle_m: Array
    knee_m: Array
    hip_m: Array
    shank: Array
    thigh: Array


def span_m(build: Build, flexed_rad: Array | float) -> Array:
    """Distance from ankle to hip at a knee flexion [m]."""
    a, b = build.thigh_m, build.shank_m
    return np.asarray(np.sqrt(a * a + b * b + 2.0 * a * b * np.cos(flexed_rad)))


def flexed_rad(build: Build, span: Array) -> Array:
    """Knee flexion at a distance from ankle to hip [rad]; the inverse of `span_m`."""
    a, b = build.thigh_m, build.shank_m
    return np.asarray(np.arccos((span * span - a * a - b * b) / (2.0 * a * b)))


def bend(build: Build, ankle_m: Array, hip_m: Array, towards_rad: Array, flexed: Array) -> Leg:
    """Leg between ankle and hip whose knee, flexed by (n,) [rad, of either sign], points to an azimuth (n,)."""
    line = unit(hip_m - ankle_m)
    toes = np.column_stack([np.cos(towards_rad), np.sin(towards_rad), np.zeros(len(line))])
    left = unit(np.cross(line, toes))
    front = np.cross(left, line)
    low = np.arctan2(build.thigh_m * np.sin(flexed), build.shank_m + build.thigh_m * np.cos(flexed))[:, None]
    high = flexed[:, None] - low
    up_shank = np.cos(low) * line + np.sin(low) * front
    up_thigh = np.cos(high) * line - np.sin(high) * front
    knee = ankle_m + build.shank_m * up_shank
    return Leg(ankle_m, knee, hip_m, of_columns(left, up_shank), of_columns(left, up_thigh))
