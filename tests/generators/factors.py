"""Everything a trial draws, by name; any of it can be overridden."""

from __future__ import annotations

import numpy as np

Factors = dict[str, "float | str | bool"]
GRADES = ("good", "poor", "real_ice")
# What differs from run to run of one day; the rest belongs to the skater, the ice and the sensors.
OF_THE_RUN = (
    "pushes", "first_foot", "quiet_s", "glide_s", "stop_s", "end_quiet_s", "stumble", "stop", "steps_after_stop", "log_cut", "hold_still_s",
    "gaps", "gap_kind", "clock_offset_s",
)  # fmt: skip


def draw_factors(
    of_the_day: np.random.Generator, of_the_run: np.random.Generator, grade: str, overrides: Factors
) -> Factors:
    """Draw the factors of one trial and put the overrides in place.

    Raises
    ------
    ValueError
        When the grade or the name of an override is unknown.
    """
    if grade not in GRADES:
        message = f"grade {grade!r} is not one of {', '.join(GRADES)}"
        raise ValueError(message)
    factors, other = _draw(of_the_day, grade), _draw(of_the_run, grade)
    factors |= {name: other[name] for name in OF_THE_RUN}
    unknown = sorted(set(overrides) - set(factors))
    if unknown:
        message = f"unknown factors {', '.join(unknown)}; known: {', '.join(sorted(factors))}"
        raise ValueError(message)
    return factors | overrides


def _draw(rng: np.random.Generator, grade: str) -> Factors:
    """Draw all factors from one stream."""
    return {
        **_timing(rng, grade),
        **_body(rng, grade),
        **_skate(rng, grade),
        **_ice(rng, grade),
        **_sides(rng, grade),
        **_device(rng, grade),
        **_gates(rng),
    }


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _some(rng: np.random.Generator, share: float, value: float) -> float:
    return value if rng.random() < share else 0.0


def _timing(rng: np.random.Generator, grade: str) -> Factors:
    real = grade == "real_ice"
    ds_start, ds_end = rng.uniform(-0.10, 0.16), rng.uniform(-0.06, 0.25)
    return {
        "pushes": int(rng.integers(11, 25)),
        "first_foot": str(rng.choice(["left", "right"])),
        "stride_start_s": _log(rng, 0.45, 1.2),
        "stride_end_s": _log(rng, 0.5, 1.4),
        "stride_turn": rng.uniform(0.15, 0.8),  # where along the run the rhythm has changed by half
        "stride_sd": rng.uniform(0.03, 0.08),
        "stride_memory": rng.uniform(-0.5, 0.7),
        "odd_push_share": _some(rng, 0.3 + 0.3 * real, rng.uniform(0.03, 0.12)),
        "double_support_start": ds_start,
        "double_support_end": ds_end,
        "double_support_sd": rng.uniform(0.005, 0.03),
        "quiet_s": rng.uniform(3.3, 5.5),
        "glide_s": rng.uniform(1.0, 4.0),
        "stop_s": rng.uniform(0.9, 2.2),
        "end_quiet_s": rng.uniform(2.2, 4.0),
        "shuffle": bool(real and rng.random() < 0.6),
        "steps_after_stop": bool(real and rng.random() < 0.3),
        "stop": str(rng.choice(["plough", "sideways_left", "sideways_right"], p=[0.7, 0.15, 0.15])),
        "stumble": bool(real and rng.random() < 0.25),
        "log_cut": str(rng.choice(["none", "late_begin", "early_end"], p=[0.8, 0.1, 0.1])),
        "shock_lag_sd_s": 0.0015 if real else 0.0005,
        "shock_speed_rad_s": rng.uniform(2.5, 7.0),
        "hold_still_s": _log(rng, 0.15, 0.6),  # weight shift before the first lift
    }


def _body(rng: np.random.Generator, grade: str) -> Factors:
    real = grade == "real_ice"
    return {
        "top_speed_m_s": rng.uniform(5.0, 9.5),
        "speed_distance_s": rng.uniform(1.0, 2.6),
        "speed_ripple": rng.uniform(0.0, 0.05),
        "reach_back_m": rng.uniform(0.25, 0.6),
        "reach_ahead_m": rng.uniform(0.0, 0.3),
        "abduction_m": rng.uniform(0.3, 0.8),
        "hip_half_width_m": rng.uniform(0.06, 0.16),
        "stance_half_width_m": rng.uniform(0.1, 0.25),
        "weave_m": rng.uniform(0.0, 0.15),
        "first_turn_out_deg": rng.uniform(30.0, 60.0),
        "turn_out_fade_pushes": rng.uniform(1.2, 4.0),
        "carve": rng.uniform(0.2, 1.3),  # growth of the track angle within a contact
        "curve_1_m": _some(rng, 0.6 if real else 0.2, rng.uniform(-0.006, 0.006)),
        "toe_in_glide_deg": _some(rng, 0.3, rng.uniform(2.0, 8.0)),
    }


def _skate(rng: np.random.Generator, grade: str) -> Factors:
    real = grade == "real_ice"
    landing = _log(rng, 0.04, 0.9 if real else 0.6)
    hardest = {"good": 60.0, "poor": 90.0, "real_ice": 160.0}[grade]  # m/s^2, mean over the impact
    return {
        "rocker_m": rng.uniform(2.5, 3.5),
        "half_blade_m": rng.uniform(0.13, 0.15),
        "toe_out_deg": rng.uniform(0.0, 40.0),
        "stance_roll_deg": rng.uniform(-4.0, 4.0),
        "stance_pitch_deg": rng.uniform(-1.5, 1.5),
        "sway_deg": _log(rng, 0.1, 1.0) * (1.0 if real else 0.6),
        "edge_peak_deg": rng.uniform(22.0, 52.0),
        "edge_first_deg": rng.uniform(12.0, 35.0),
        "edge_landing_deg": rng.uniform(-9.0, 8.0),
        "edge_peak_lead_s": rng.uniform(0.0, 0.08),
        "edge_course": str(rng.choice(["late", "even", "flip"])),
        "edge_tremor_deg": rng.uniform(0.2, 1.4),
        "pitch_landing_deg": rng.uniform(-15.0, 10.0),
        "pitch_settle_s": rng.uniform(0.03, 0.09),
        "pitch_glide_deg": rng.uniform(-0.7, 1.5),
        "pivot_pitch_deg": rng.uniform(3.0, 14.0),
        "pivot_pushes": int(rng.integers(1, 5)),
        "push_rate_deg_s": rng.uniform(280.0, 880.0),
        "push_lead_s": rng.uniform(-0.04, 0.04),
        "push_shape": str(rng.choice(["bell", "early", "late", "double", "broad"])),
        "push_length_s": rng.uniform(0.07, 0.18),
        "push_quickness_rad_s2": 400.0 if grade == "good" else 650.0,
        "push_angle_deg": rng.uniform(25.0, 52.0),  # largest angle the heel rises
        "slap_rate_rad_s": _log(rng, 2.0, 9.0 if real else 6.0),
        "push_sd": rng.uniform(0.03, 0.08),
        "yaw_follow": rng.uniform(0.5, 1.0),
        "swing_roll_deg": rng.uniform(-15.0, 20.0),
        "swing_yaw_deg": rng.uniform(-20.0, 25.0),
        "swing_pitch_deg": rng.uniform(-12.0, 15.0),
        "swing_path": str(rng.choice(["high", "drag", "kick", "two_humps"], p=[0.4, 0.25, 0.2, 0.15])),
        "lift_m": rng.uniform(0.04, 0.18),
        "release_m_s": _log(rng, 0.05, 0.6),
        "release_s": _log(rng, 0.012, 0.05),
        "landing_m_s": landing,
        "landing_shape": str(rng.choice(["half_sine", "hertz", "double"])),
        "landing_s": max(rng.uniform(0.005, 0.014), landing / hardest),
        "landing_scuff_m_s": _some(rng, 0.4, rng.uniform(0.0, 0.03 if grade == "good" else 0.15)),
    }


def _ice(rng: np.random.Generator, grade: str) -> Factors:
    real = grade == "real_ice"
    skid = {"good": rng.uniform(0.0, 0.05), "poor": _log(rng, 0.02, 0.4), "real_ice": _log(rng, 0.02, 0.4)}
    return {
        "vibration_m_s2": _log(rng, 0.3, 8.0) if real else _log(rng, 0.7, 6.0),
        "vibration_speed_power": rng.uniform(0.6, 1.6),
        "vibration_load_power": rng.uniform(0.3, 1.2 if real else 0.8),
        "vibration_centre_hz": _log(rng, 35.0, 260.0),
        "vibration_corner_follow": rng.uniform(0.0, 0.7),
        "vibration_high_share": rng.uniform(0.0, 0.7),
        "vibration_low_share": rng.uniform(0.05, 0.4),
        "vibration_memory_s": _log(rng, 0.0008, 0.012),
        "vibration_train_share": rng.uniform(0.0, 0.8),
        "vibration_train_1_m": _log(rng, 3.0, 25.0),
        "vibration_gyro": _log(rng, 0.1, 1.2),
        "vibration_sideways": _log(rng, 0.35, 2.0),
        "vibration_forward": _log(rng, 0.25, 1.2),
        "load_rise_s": _log(rng, 0.004, 0.15 if real else 0.08),
        "load_fall_s": _log(rng, 0.006, 0.07 if real else 0.03),
        "ring_down_m_s2": _some(rng, 0.4 if real else 0.2, _log(rng, 0.1, 2.0 if real else 0.5)),
        "ring_down_s": rng.uniform(0.008, 0.04),
        "shock_ring_m_s2": rng.uniform(15.0, 110.0),
        "landing_ring_1_s": _log(rng, 8.0, 90.0 if real else 50.0),  # m/s^2 per m/s of landing speed
        "landing_ring_hz": rng.uniform(50.0, 350.0),
        "landing_ring_s": rng.uniform(0.003, 0.018),
        "swing_rattle_m_s2": _log(rng, 0.02, 0.4 if real else 0.1),
        "skid_m_s": skid[grade],
        "chatter_m_s2": _some(rng, 0.5, _log(rng, 0.5, 6.0)) if real else 0.0,
        "chatter_hz": rng.uniform(18.0, 60.0),
        "flex_deg": rng.uniform(1.0, 3.0) if real else _some(rng, 0.3, rng.uniform(0.0, 0.5)),
        "resonance_hz": _some(rng, 0.6, rng.uniform(60.0, 200.0)) if real else 0.0,
        "resonance_damping": rng.uniform(0.03, 0.12),
    }


def _sides(rng: np.random.Generator, grade: str) -> Factors:
    wide = 1.6 if grade == "real_ice" else 1.0
    names = ("step", "contact", "edge", "push", "landing", "lead", "abduction", "vibration")
    sizes = (0.04, 0.02, 0.08, 0.08, 0.25, 0.012, 0.08, 0.2)
    return {f"difference_{n}": wide * s * rng.uniform(-1.0, 1.0) for n, s in zip(names, sizes, strict=True)}


def _device(rng: np.random.Generator, grade: str) -> Factors:
    poor, real = grade == "poor", grade == "real_ice"
    rates = (
        [100.0, 120.0, 128.0, 148.0, 200.0]
        if poor
        else [200.0, 208.0, 250.0, 400.0, 416.0, 500.0, 800.0, 1000.0]
    )
    lowpass = poor or (real and rng.random() < 0.6) or (grade == "good" and rng.random() < 0.3)
    return {
        "rate_hz": float(rng.choice(rates)),
        "mounting": str(rng.choice(["any", "nominal"])),
        "mounting_error_deg": rng.uniform(0.0, 15.0),
        "lever_declared": bool(rng.random() < 0.5),
        "lowpass": str(rng.choice(["biquad", "one_pole", "fir"])) if lowpass else "none",
        "lowpass_ratio": rng.uniform(0.25, 0.45),
        "lowpass_declared": bool(grade == "good" or rng.random() < 0.5),
        "delay_s": rng.uniform(0.0, 0.004) if real else 0.0,
        "acc_bias_m_s2": 0.59 if poor else 0.2,
        "gyro_bias_deg_s": 2.0 if poor else 1.0,
        "acc_scale": 0.02 if poor else 0.003,
        "gyro_scale": 0.01 if poor else 0.003,
        "misalignment_deg": 0.6 if poor else 0.2,
        "acc_noise": _log(rng, 0.001, 0.006) * (2.0 if poor else 1.0),  # m/s^2/sqrt(Hz)
        "gyro_noise_deg": _log(rng, 0.004, 0.02) * (2.0 if poor else 1.0),  # deg/s/sqrt(Hz)
        "flicker": rng.uniform(0.0, 2.0),
        "g_sensitivity_deg_s": _some(rng, 0.5, rng.uniform(0.0, 0.1 if poor else 0.03)),  # per g
        "warming_deg_s": rng.uniform(-0.15, 0.15) * (2.0 if poor else 1.0),
        "acc_range_g": 32.0 if grade == "good" and rng.random() < 0.5 else 16.0,
        "gyro_range_deg_s": 2000.0,
        "range_declared": bool(rng.random() < 0.8),
        "clock_offset_s": 30.0,
        "clock_drift_ppm": 60.0,
        "stamp_jitter": rng.uniform(0.0, 0.05),
        "stamp_step_s": float(rng.choice([1e-6, 1e-4, 1e-3])) if poor else 1e-6,
        "gaps": int(rng.integers(1, 5)) if real and rng.random() < 0.35 else 0,
        "gap_kind": str(rng.choice(["missing_rows", "nan"])),
    }


def _gates(rng: np.random.Generator) -> Factors:
    """Where the body that the beam sees is before the feet, and the feet behind the first gate."""
    lead = rng.uniform(0.05, 0.4)
    return {"body_lead_m": lead, "start_behind_m": lead + rng.uniform(0.15, 0.7)}
