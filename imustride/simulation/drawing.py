"""Draws the parameters of a run for a grade of difficulty and applies overrides."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.constants import HUNDRED_FEET_M
from imustride.errors import SettingsError
from imustride.simulation.parameters import GRADES, SEVERAL, Conditions, Device, Skater

if TYPE_CHECKING:
    from collections.abc import Mapping

# Independent random streams, so that switching one effect leaves every other draw as it was.
STREAMS = {
    "skater": 1,
    "conditions": 2,
    "left": 3,
    "right": 4,
    "shared": 5,
    "steps": 6,
    "attitude": 7,
    "ice": 8,
}
FASTEST_S, SLOWEST_S = 4.3, 7.0  # over 30.48 m (Stastny et al. 2023: mean 4.5 s; wider on purpose)
SHORTEST_SWING_S, SHORTEST_CONTACT_S = 0.23, 0.17


@dataclass(frozen=True, slots=True)
class Draw:
    """All parameters of one run; `devices` is keyed by side."""

    seed: int
    run: int
    grade: str
    skater: Skater
    conditions: Conditions
    devices: Mapping[str, Device]

    def stream(self, name: str) -> np.random.Generator:
        """Return the random stream of one part of the simulation."""
        return np.random.default_rng([self.seed, STREAMS[name], self.run])


def draw(seed: int, grade: str, run: int = 0, overrides: Mapping[str, Any] | None = None) -> Draw:
    """Draw skater, devices and the day by `seed`, what differs between runs by `run` too.

    `overrides` then replace what was drawn, by the name of the field.

    Raises
    ------
    SettingsError
        If the grade or an override is unknown.
    """
    if grade not in GRADES:
        message = f"unknown grade {grade!r} of simulation; choose one of {', '.join(GRADES)}"
        raise SettingsError(message)
    skater = _skater(np.random.default_rng([seed, STREAMS["skater"]]), grade)
    conditions = _conditions(np.random.default_rng([seed, STREAMS["conditions"], 0]), grade)
    this_run = _conditions(np.random.default_rng([seed, STREAMS["conditions"], run]), grade)
    conditions = replace(conditions, **{name: getattr(this_run, name) for name in SEVERAL})
    shared = np.random.default_rng([seed, STREAMS["shared"]])
    rate_hz = _rate(shared, grade)
    worn = {"axes_declared": bool(shared.random() < 0.5), "position_declared": bool(shared.random() < 0.5)}
    low_pass = _low_pass(shared, grade)
    devices = {
        side: draw_device(np.random.default_rng([seed, STREAMS[side]]), grade, rate_hz, worn | low_pass)
        for side in ("left", "right")
    }
    drawn = Draw(seed, run, grade, skater, conditions, devices)
    return _override(drawn, dict(overrides or {}))


def _override(drawn: Draw, overrides: dict[str, Any]) -> Draw:
    """Replace drawn fields; ``left_``/``right_`` before a device field limits it to that side."""
    parts = {"skater": {}, "conditions": {}, "left": {}, "right": {}}  # type: dict[str, dict[str, Any]]
    skater, conditions, device = ({f.name for f in fields(kind)} for kind in (Skater, Conditions, Device))
    for name, value in overrides.items():
        side, _, rest = name.partition("_")
        if name in skater:
            parts["skater"][name] = value
        elif name in conditions:
            parts["conditions"][name] = value
        elif name in device:
            parts["left"].setdefault(name, value)
            parts["right"].setdefault(name, value)
        elif side in ("left", "right") and rest in device:
            parts[side][rest] = value
        else:
            message = f"unknown override {name!r} of simulation; known: {', '.join(sorted(skater | conditions | device))}"
            raise SettingsError(message)
    devices = {side: replace(drawn.devices[side], **parts[side]) for side in ("left", "right")}
    return replace(
        drawn,
        skater=replace(drawn.skater, **parts["skater"]),
        conditions=replace(drawn.conditions, **parts["conditions"]),
        devices=devices,
    )


def sprint_time_s(peak_speed_m_s: float, rise_s: float) -> float:
    """Time over 30.48 m of the mono-exponential speed from rest [s]."""
    time_s = np.linspace(0.0, 12.0, 2401)
    path = peak_speed_m_s * (time_s - rise_s * (1 - np.exp(-time_s / rise_s)))
    return float(np.interp(HUNDRED_FEET_M, path, time_s))


def _speed(rng: np.random.Generator) -> tuple[float, float]:
    """Draw peak speed and time constant with a sprint time in the wanted range."""
    while True:
        peak, rise = rng.uniform(5.9, 9.6), rng.uniform(0.85, 1.6)
        if FASTEST_S <= sprint_time_s(peak, rise) <= SLOWEST_S:
            return float(peak), float(rise)


def _timing(rng: np.random.Generator) -> dict[str, Any]:
    """Stride time and double support that leave room for contact and swing."""
    wide = rng.random() < 0.35
    stride_s = rng.uniform(0.45, 1.4) if wide else rng.uniform(0.55, 1.0)
    growth = rng.uniform(-0.25, 0.45)
    first_s, last_s = stride_s * (1 - growth / 2), stride_s * (1 + growth / 2)
    bounds = [(SHORTEST_CONTACT_S / s - 0.5, 0.5 - SHORTEST_SWING_S / s) for s in (first_s, last_s)]
    first = np.clip(rng.uniform(-0.10, 0.15), *bounds[0])
    last = np.clip(rng.uniform(-0.02, 0.25) if rng.random() < 0.8 else rng.uniform(-0.1, 0.05), *bounds[1])
    return {
        "stride_time_s": float(stride_s),
        "stride_growth_ratio": float(growth),
        "quick_start_ratio": float(rng.uniform(0.0, 0.4)),
        "double_support_first_ratio": float(first),
        "double_support_last_ratio": float(last),
    }


def _landing(rng: np.random.Generator, grade: str) -> dict[str, Any]:
    """Landings from silent to hard, flat, toe-down or toe-up with a slap."""
    hardest = 0.55 if grade == "real_ice" else 0.35
    low, high = (-15.0, 10.0) if grade == "real_ice" else (-10.0, 6.0)
    pitch = rng.uniform(low, high)
    return {
        "landing_speed_m_s": float(np.exp(rng.uniform(np.log(0.02), np.log(hardest)))),
        "landing_time_s": float(rng.uniform(0.005, 0.015)),
        "load_rise_s": float(np.exp(rng.uniform(np.log(0.01), np.log(0.09)))),
        "land_pitch_deg": float(pitch),
        "slap": bool(pitch < -3 and rng.random() < 0.8),
        "slap_time_s": float(rng.uniform(0.03, 0.09)),
    }


def _stance(rng: np.random.Generator) -> dict[str, Any]:
    return {
        "toe_out_left_deg": float(rng.uniform(0, 40)),
        "toe_out_right_deg": float(rng.uniform(0, 40)),
        "stance_pitch_deg": float(rng.normal(0, 1.5)),
        "stance_roll_deg": float(rng.normal(0, 3.0)),
        "stance_width_m": float(rng.uniform(0.12, 0.4)),
        "start_turn_deg": float(rng.uniform(30, 60)),
    }


def _differences(rng: np.random.Generator, grade: str) -> dict[str, Any]:
    """Left-right differences, as symmetry indices."""
    most = 12.0 if grade == "real_ice" else 8.0
    names = ("contact_asymmetry_percent", "rate_asymmetry_percent", "edge_asymmetry_percent")
    return {name: float(np.clip(rng.normal(0, most / 2), -most, most)) for name in names}


def _skater(rng: np.random.Generator, grade: str) -> Skater:
    """Draw an athlete."""
    peak, rise = _speed(rng)
    rise_time_s = rng.uniform(0.09, 0.2)
    rate = rng.uniform(270, 900)
    amplitude = np.clip(rate * rise_time_s / 1.875, 18, 68)
    u = rng.uniform
    return Skater(
        peak_speed_m_s=peak,
        speed_rise_s=rise,
        **_timing(rng),
        first_lift=str(rng.choice(["left", "right"])),
        land_ahead_m=u(0.02, 0.3),
        land_beside_m=u(0.0, 0.16),
        leave_behind_m=u(0.15, 0.5),
        reach_m=u(0.3, 0.8),
        weave_m=u(0.02, 0.2),
        **_stance(rng),
        turn_change_deg=u(-2, 14),
        edge_land_deg=u(-12, 10),
        edge_push_deg=u(18, 46),
        edge_lead_s=u(-0.06, 0.06),
        pitch_rate_deg_s=rate,
        rise_time_s=float(amplitude * 1.875 / rate),
        rise_lead_s=u(-0.04, 0.04),
        early_rise_deg=u(0, 6),
        heel_up_ratio=u(0, 0.35),
        flat_pitch_deg=u(-1.5, 3),
        **_landing(rng, grade),
        lift_m=u(0.03, 0.2),
        lift_skew=u(-1, 1),
        lift_quick_ratio=u(0, 0.6),
        profile_skew=u(-7, 7),
        profile_sharpness_ratio=u(0, 1),
        tremor_deg=u(0.1, 0.9),
        variation_ratio=u(0.03, 0.08),
        steer_ratio=u(0.3, 1.0),
        toe_pivot=grade == "real_ice" or bool(rng.random() < 0.3),
        **_differences(rng, grade),
        **_build(rng),
    )


def _build(rng: np.random.Generator) -> dict[str, Any]:
    """Draw the blade, and where the body is against the feet and the start line."""
    u = rng.uniform
    return {
        "blade_length_m": u(0.26, 0.3),
        "rocker_radius_m": u(2.5, 3.5),
        "body_lead_m": u(0.1, 0.4),
        "start_behind_m": u(0.5, 0.9),
    }


def _conditions(rng: np.random.Generator, grade: str) -> Conditions:
    """Draw a run's protocol, ice and mishaps."""
    real = grade == "real_ice"
    u = rng.uniform
    skid = {"good": u(0, 0.05), "poor": u(0, 0.4), "real_ice": u(0, 0.3)}[grade]
    low = np.exp(u(np.log(15), np.log(90)))
    cut = rng.random()
    return Conditions(
        lead_in_s=u(0.6, 1.6),
        shock_kind="knock" if rng.random() < 0.2 else "heels",
        shock_height_m=u(0.015, 0.05),
        shock_apart_s=abs(rng.normal(0, 0.0006 if real else 0.0003)),
        stance_s=u(3.3, 5.0),
        sway_deg=u(0.1, 1.0 if real else 0.5),
        sway_hz=u(0.1, 0.5),
        shuffle=real and bool(rng.random() < 0.6),
        extra_time_s=u(-0.4, 1.2),
        glide_s=u(1.0, 4.0),
        plough_deg=u(2, 14) if rng.random() < 0.3 else 0.0,
        stop_kind="hockey" if rng.random() < 0.6 else "plough",
        stop_m_s2=u(2.5, 5.0),
        quiet_s=u(2.0, 4.0),
        ice_vibration_m_s2=float(np.exp(u(np.log(0.3 if real else 0.6), np.log(8.0 if real else 5.0)))),
        vibration_low_hz=float(low),
        vibration_high_hz=float(np.exp(u(np.log(150), np.log(900)))),
        vibration_speed_power=u(0.7, 1.5),
        vibration_load_power=u(0, 0.7),
        vibration_turn_deg_s=u(1, 6),
        skid_m_s=float(skid),
        chatter_m_s=u(0.02, 0.15) if real and rng.random() < 0.7 else 0.0,
        chatter_hz=u(12, 45),
        path_curve_deg=u(-12, 12) if real else 0.0,
        stumble_ratio=u(0.2, 0.7) if real and rng.random() < 0.12 else 0.0,
        slip_point="middle" if rng.random() < 0.3 else "contact",
        log_begins_late=bool(cut < 0.1),
        log_ends_early=bool(cut > 0.9),
    )


def _rate(rng: np.random.Generator, grade: str) -> float:
    """Sampling rate: common settings and any value between."""
    if grade == "poor":
        return float(rng.choice([100, 104, 125, 128, 148.148, 200, rng.uniform(100, 200)]))
    low = 100 if grade == "real_ice" and rng.random() < 0.1 else 200
    return float(rng.choice([low, 208, 250, 256, 400, 416, 500, 512, 800, 1000, rng.uniform(200, 1000)]))


def _low_pass(rng: np.random.Generator, grade: str) -> dict[str, Any]:
    """Draw the device's low pass; good devices have a wide and declared one, or none."""
    if grade == "good":
        ratio = rng.uniform(0.42, 0.48) if rng.random() < 0.5 else 0.0
        return {"low_pass_ratio": float(ratio), "low_pass_order": 2, "low_pass_declared": True}
    return {
        "low_pass_ratio": float(rng.uniform(0.25, 0.45)) if rng.random() < 0.85 else 0.0,
        "low_pass_order": int(rng.integers(1, 3)),
        "low_pass_declared": bool(rng.random() < 0.5),
    }


def _mount(rng: np.random.Generator, *, axes_declared: bool) -> tuple[float, float, float, float]:
    """Any rotation, or one of the 24 box positions turned by up to 15 degrees."""
    from scipy.spatial.transform import Rotation

    if not axes_declared:
        return _quaternion(Rotation.from_quat(rng.normal(size=4)))
    box = Rotation.create_group("O")[int(rng.integers(24))]
    axis = rng.normal(size=3)
    tilt = Rotation.from_rotvec(np.radians(rng.uniform(0, 15)) * axis / np.linalg.norm(axis))
    return _quaternion(tilt * box)


def _quaternion(rotation: Any) -> tuple[float, float, float, float]:
    x, y, z, w = rotation.as_quat()
    return float(x), float(y), float(z), float(w)


def _triple(rng: np.random.Generator, half_width: float) -> tuple[float, float, float]:
    x, y, z = rng.uniform(-half_width, half_width, 3)
    return float(x), float(y), float(z)


def draw_device(rng: np.random.Generator, grade: str, rate_hz: float, shared: dict[str, Any]) -> Device:
    """Draw one sensor; errors are those left after calibration in good, none applied in poor."""
    poor, real = grade == "poor", grade == "real_ice"
    u = rng.uniform
    mg = 0.00980665
    flex_axis = np.array([1.0, rng.normal(0, 0.4), rng.normal(0, 0.2)])
    gaps = int(rng.integers(1, 4)) if real and rng.random() < 0.15 else 0
    return Device(
        rate_hz=rate_hz,
        clock_offset_s=u(-30, 30),
        clock_drift_ppm=u(-60, 60),
        stamp_jitter_s=u(0, 0.02) / rate_hz,
        mount_quaternion=_mount(rng, axes_declared=shared["axes_declared"]),
        position_m=(u(-0.03, 0.03), u(0.0, 0.05) * (1 if rng.random() < 0.5 else -1), u(0.08, 0.14)),
        position_error_m=_triple(rng, 0.01),
        acceleration_bias_m_s2=_triple(rng, (60 if poor else 20) * mg),
        acceleration_scale_ratio=_triple(rng, 0.02 if poor else 0.003),
        acceleration_misalignment_deg=_triple(rng, 0.8 if poor else 0.2),
        acceleration_noise_m_s2=u(0.05, 0.15) if poor else u(0.01, 0.06),
        gyro_bias_deg_s=_triple(rng, 2.0 if poor else 1.0),
        gyro_scale_ratio=_triple(rng, 0.01 if poor else 0.003),
        gyro_misalignment_deg=_triple(rng, 0.8 if poor else 0.2),
        gyro_noise_deg_s=u(0.1, 0.5) if poor else u(0.03, 0.15),
        acceleration_range_g=16.0,
        angular_velocity_range_deg_s=2000.0,
        delay_s=u(0, 0.003) if real and rng.random() < 0.5 else 0.0,
        gaps=gaps,
        gap_longest_s=0.2,
        gap_as_nan=bool(rng.random() < 0.4),
        boot_flex_deg=u(1, 3) if real else 0.0,
        flex_axis=_unit(flex_axis),
        bracket_hz=u(60, 200) if real and rng.random() < 0.7 else 0.0,
        bracket_damping_ratio=u(0.05, 0.15),
        slip_deg=0.0,
        **shared,
    )


def _unit(vector: np.ndarray) -> tuple[float, float, float]:
    x, y, z = vector / np.linalg.norm(vector)
    return float(x), float(y), float(z)
