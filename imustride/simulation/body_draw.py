"""What is drawn for the body above the skates: its sizes, how it moves, the devices it wears.

Widths of the draws are common practice without a source, unless said otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.constants import PLACES, SKATES
from imustride.errors import SettingsError
from imustride.simulation.drawing import draw_device
from imustride.simulation.parameters import Device

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from imustride.simulation.drawing import Draw

BODY_PLACES = tuple(place for place in PLACES if place not in SKATES)
STREAM = 110  # of the body's draws; run-wise ones add the run
MEASURING_M = 0.005  # largest error of a measured segment length
# Shares of the body height (Drillis and Contini 1966; the distance of the hip joints: common practice, no source).
THIGH_RATIO, SHANK_RATIO, HIPS_RATIO = 0.245, 0.246, 0.104
TRUNK_RATIO, SHOULDERS_RATIO, UPPER_ARM_RATIO, FOREARM_RATIO = 0.288, 0.259, 0.186, 0.146


@dataclass(frozen=True, slots=True)
class Figure:
    """Sizes of the body [m]; of the legs by side."""

    height_m: float
    left_thigh_m: float
    left_shank_m: float
    right_thigh_m: float
    right_shank_m: float
    hips_m: float  # between the hip joints
    trunk_m: float  # middle of the hips to middle of the shoulders, upright
    shoulders_m: float
    upper_arm_m: float
    forearm_m: float

    def leg_m(self, side: str) -> tuple[float, float]:
        """Return the lengths of thigh and shank of one side."""
        left = (self.left_thigh_m, self.left_shank_m)
        return left if side == "left" else (self.right_thigh_m, self.right_shank_m)


@dataclass(frozen=True, slots=True)
class Style:
    """How the body moves; asymmetries are right minus left, turns and swings half of their range.

    Lags are of the largest turn of shoulders or pelvis, or of the foremost arm of the other side, after blade-off.
    """

    glide_flexion_deg: float  # of the knee, aimed at in the glide of the last strides
    off_flexion_deg: float  # at blade-off
    ready_flexion_deg: float
    coast_flexion_deg: float  # after the run
    off_angle_deg: float  # leg from the vertical at blade-off, aimed at
    hips_back_m: float  # pelvis behind the body's path
    knee_out_ratio: float  # knee points along the skate (1) or straight ahead (0)
    trunk_lean_deg: float
    ready_lean_deg: float
    lean_swing_deg: float
    side_lean_deg: float
    shoulder_turn_deg: float
    shoulder_lag_s: float
    pelvis_turn_deg: float
    pelvis_lag_s: float
    pelvis_tilt_ratio: float  # of the trunk's lean
    pelvis_drop_deg: float
    head_pitch_deg: float
    head_follow_ratio: float  # of the shoulders' turn
    arm_mean_deg: float  # forearm from hanging, forward
    arm_swing_deg: float
    arm_lag_s: float
    arm_across_ratio: float
    upper_arm_swing_deg: float
    beat_sd_s: float  # of the turning points of arms and trunk
    knee_asymmetry_deg: float
    extension_asymmetry_deg: float
    arm_lag_asymmetry_s: float
    arm_swing_asymmetry_deg: float
    wobble_deg: float  # of every sensor on its segment (soft tissue), up to 5 Hz
    straight_error_deg: float  # SD of shank and thigh from the vertical in straight standing
    squat_turn_deg: float  # SD of a turn of shank and thigh about their length in the squat
    body_shock: float  # times what share of a blow to the feet reaches each place


@dataclass(frozen=True, slots=True)
class BodyDraw:
    """All parameters of the body; `devices` by place, `measured_m` the lengths as a tape found them."""

    figure: Figure
    style: Style
    devices: Mapping[str, Device]
    measured_m: Mapping[str, float]


NAMES = frozenset(field.name for kind in (Figure, Style) for field in fields(kind)) | {"body_rate_hz"}
DEVICE_NAMES = frozenset(field.name for field in fields(Device))
# What holds for a skate's sensor only, or lies elsewhere on each segment.
NOT_SHARED = (
    "position_m",
    "boot_flex_deg",
    "flex_axis",
    "bracket_hz",
    "slip_deg",
    "axes_declared",
    "position_declared",
)


def is_body_override(name: str) -> bool:
    """Return whether an override is of the body: one of its own names, or a place and a field of its device."""
    place = next((place for place in BODY_PLACES if name.startswith(f"{place}_")), None)
    return name in NAMES or (place is not None and name.removeprefix(f"{place}_") in DEVICE_NAMES)


def chosen(places: Collection[str], *, body: bool) -> tuple[str, ...]:
    """Return the worn places besides the skates, in the order of the contract.

    Raises
    ------
    SettingsError
        If a place is unknown.
    """
    unknown = sorted(set(places) - set(PLACES))
    if unknown:
        message = f"unknown place {unknown[0]!r} of simulation; known: {', '.join(BODY_PLACES)}"
        raise SettingsError(message)
    return tuple(place for place in BODY_PLACES if body or place in places)


def draw_body(drawn: Draw, places: Collection[str], overrides: Mapping[str, Any]) -> BodyDraw:
    """Draw the body of an athlete: the same for all runs, whatever places are worn.

    `overrides` are those of `is_body_override`, and fields of `Device`, which then hold for every place.
    """
    rng = np.random.default_rng([drawn.seed, STREAM])
    figure = replace(_figure(rng, overrides.get("height_m")), **_named(Figure, overrides))
    style = replace(_style(rng), **_named(Style, overrides))
    devices = {place: _worn(drawn, place, figure, overrides) for place in places}
    tape = np.random.default_rng([drawn.seed, STREAM + 1])
    measured = {
        field.name: round(getattr(figure, field.name) + float(tape.uniform(-MEASURING_M, MEASURING_M)), 3)
        for field in fields(Figure)[:5]
    }
    return BodyDraw(figure, style, devices, measured)


def _named(kind: type, overrides: Mapping[str, Any]) -> dict[str, Any]:
    names = {field.name for field in fields(kind)}
    return {name: value for name, value in overrides.items() if name in names}


def _figure(rng: np.random.Generator, height_m: float | None) -> Figure:
    """Draw the sizes; segments vary by 3 % between athletes and by 0.7 % between the sides."""
    drawn_m = float(rng.uniform(1.6, 1.92))
    height = drawn_m if height_m is None else height_m
    thigh, shank, hips, trunk, shoulders, upper, fore = height * np.array([
        THIGH_RATIO, SHANK_RATIO, HIPS_RATIO, TRUNK_RATIO, SHOULDERS_RATIO, UPPER_ARM_RATIO, FOREARM_RATIO,
    ]) * (1 + 0.03 * np.clip(rng.normal(size=7), -2, 2))  # fmt: skip
    uneven = 1 + 0.007 * np.clip(rng.normal(size=2), -2, 2)
    lengths = (thigh, shank, thigh * uneven[0], shank * uneven[1], hips, trunk, shoulders, upper, fore)
    return Figure(height, *(float(length) for length in lengths))


def _style(rng: np.random.Generator) -> Style:
    """Draw how the athlete moves."""
    u = rng.uniform

    def differs(spread: float) -> float:
        return float(np.clip(rng.normal(0, spread), -2 * spread, 2 * spread))

    return Style(
        glide_flexion_deg=u(72, 100),
        off_flexion_deg=u(20, 34),
        ready_flexion_deg=u(24, 46),
        coast_flexion_deg=u(30, 60),
        off_angle_deg=u(40, 50),
        hips_back_m=u(0.03, 0.12),
        knee_out_ratio=u(0.3, 0.7),
        trunk_lean_deg=u(29, 51),
        ready_lean_deg=u(20, 40),
        lean_swing_deg=u(0.8, 2.5),
        side_lean_deg=u(1, 4),
        shoulder_turn_deg=u(5, 14),
        shoulder_lag_s=u(-0.06, 0.08),
        pelvis_turn_deg=u(3, 8),
        pelvis_lag_s=u(-0.04, 0.04),
        pelvis_tilt_ratio=u(0.35, 0.55),
        pelvis_drop_deg=u(1, 4),
        head_pitch_deg=u(0, 15),
        head_follow_ratio=u(0.1, 0.4),
        arm_mean_deg=u(45, 70),
        arm_swing_deg=u(20, 45),
        arm_lag_s=u(-0.08, 0.1),
        arm_across_ratio=u(0.05, 0.6),
        upper_arm_swing_deg=u(15, 35),
        beat_sd_s=u(0.002, 0.01),
        knee_asymmetry_deg=differs(3.0),
        extension_asymmetry_deg=differs(2.0),
        arm_lag_asymmetry_s=differs(0.015),
        arm_swing_asymmetry_deg=differs(4.0),
        wobble_deg=0.0,
        straight_error_deg=1.0,
        squat_turn_deg=1.0,
        body_shock=1.0,
    )


def _worn(drawn: Draw, place: str, figure: Figure, overrides: Mapping[str, Any]) -> Device:
    """Draw one device: any mounting, own clock, the skates' rate unless told otherwise."""
    rng = np.random.default_rng([drawn.seed, STREAM + 2 + BODY_PLACES.index(place)])
    skate = drawn.devices["left"]
    shared = {"axes_declared": False, "position_declared": False}
    for name in ("low_pass_ratio", "low_pass_order", "low_pass_declared"):
        shared[name] = getattr(skate, name)
    device = draw_device(rng, drawn.grade, skate.rate_hz, shared)
    changes: dict[str, Any] = {name: value for name, value in overrides.items() if name in DEVICE_NAMES}
    changes = {name: value for name, value in changes.items() if name not in NOT_SHARED}
    changes |= {"boot_flex_deg": 0.0, "bracket_hz": 0.0, "position_m": _fixed_at(rng, place, figure)}
    if "body_rate_hz" in overrides:
        changes["rate_hz"] = overrides["body_rate_hz"]
    own = {name.removeprefix(f"{place}_"): v for name, v in overrides.items() if name.startswith(f"{place}_")}
    return replace(device, **changes | {name: value for name, value in own.items() if name in DEVICE_NAMES})


def _fixed_at(rng: np.random.Generator, place: str, figure: Figure) -> tuple[float, float, float]:
    """Where the sensor sits on its segment [m], from the segment's origin (`figure.Segment`)."""
    side, _, part = place.rpartition("_")
    outward = -1.0 if side == "right" else 1.0
    thigh_m, shank_m = figure.leg_m(side)
    at = {
        "shank": (0.03, 0.04 * outward, 0.55 * shank_m),
        "thigh": (0.03, 0.07 * outward, 0.5 * thigh_m),
        "wrist": (0.0, 0.03 * outward, -0.9 * figure.forearm_m),
        "pelvis": (-0.1, 0.0, 0.03),
        "trunk": (-0.1, 0.0, 0.7 * figure.trunk_m),
        "head": (-0.08, 0.0, 0.1),
    }[part]
    x, y, z = np.add(at, rng.uniform(-0.015, 0.015, 3))
    return float(x), float(y), float(z)
