"""Speeds, ways and times of one run, from the path of the body and from the gates."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.metrics.profile import BEAM_SD_M, FEWEST_GATES, GATE_SD_S, Profile, fit_gates, fit_speed
from imustride.metrics.shares import SpeedShares, speed_shares

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from imustride.kinematics import BodyPath, Gates

SLOWEST_M_S = 0.5  # at a gate: nobody stands in it
# Averaging the steps out rounds the beginning of the run off (simulated, DEVELOPERS).
ROUNDED_SD_S = 0.1
NO_PATH = "no path of the body was fitted"


def at(body: BodyPath, values: NDArray[np.float64], times_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Interpolate values of the body's path, shape (n, k), at times [reference clock, s]; NaN outside the path."""
    columns = [np.interp(times_s, body.time_s, column, left=np.nan, right=np.nan) for column in values.T]
    return np.stack(columns, axis=-1)


def pushing_end_s(body: BodyPath, pushes: pd.DataFrame) -> float:
    """Last blade-off of the run [reference clock, s], at most the end of the path."""
    last_s = pushes["blade_off_s"].max()
    return float(np.fmin(last_s, body.time_s[-1]))


def speed_columns(pushes: pd.DataFrame, gates: Gates | None, body: BodyPath | None) -> dict[str, Any]:
    """Return mean and peak speed and the distance, each with its standard deviation; empty (NaN) where not known.

    Parameters
    ----------
    pushes : DataFrame
        The run's rows of ``pushes.csv``.
    gates : Gates or None
    body : BodyPath or None

    Notes
    -----
    The mean speed is that between the first and the last gate; without gates from the end of the stance to the last
    blade-off. The distance runs from the stance to where the body passes the last gate, or else to the last blade-off.
    """
    empty = dict.fromkeys(("peak_speed_m_s", "peak_speed_m_s_sd", "distance_m", "distance_m_sd"), np.nan)
    found = {"mean_speed_m_s": np.nan, **empty, "mean_speed_m_s_sd": np.nan}
    if body is not None:
        end_s = pushing_end_s(body, pushes)
        pushing = body.time_s <= end_s
        fastest = int(body.speed_m_s[pushing].argmax())
        found["peak_speed_m_s"] = float(body.speed_m_s[fastest])
        found["peak_speed_m_s_sd"] = float(body.speed_sd_m_s[fastest])
        finish_s = np.array([body.gate_s[-1] if len(body.gate_s) else end_s])
        found["distance_m"] = float(at(body, body.position_m[:, None], finish_s)[0, 0])
        found["distance_m_sd"] = float(np.linalg.norm(at(body, body.position_root, finish_s)[0]))
    if gates is not None:
        gate_time_s = float(np.ptp(gates.time_s))
        found["mean_speed_m_s"] = float(np.ptp(gates.position_m)) / gate_time_s
        found["mean_speed_m_s_sd"] = found["mean_speed_m_s"] * np.sqrt(2) * GATE_SD_S / gate_time_s
    elif body is not None:
        since_s = end_s - body.time_s[0]
        found["mean_speed_m_s"] = found["distance_m"] / since_s
        found["mean_speed_m_s_sd"] = found["distance_m_sd"] / since_s
    return found


def profile_columns(pushes: pd.DataFrame, gates: Gates | None, body: BodyPath | None) -> dict[str, Any]:
    """Return the sprint profile: from the smoothed speed of the body, without a path from four gates or more."""
    found, source = Profile(reason=NO_PATH), ""
    if body is not None:
        pushing = body.time_s <= pushing_end_s(body, pushes)
        # What the fit of the paths does not see of the body is taken as one error of the whole run.
        unseen = body.speed_sd_m_s**2 - (body.speed_root**2).sum(axis=1)
        root = np.column_stack([body.speed_root, np.sqrt(np.maximum(unseen, 0.0))])
        found = fit_speed(body.time_s[pushing], body.speed_m_s[pushing], root[pushing])
        found = replace(found, tau_sd_s=float(np.hypot(found.tau_sd_s, ROUNDED_SD_S)))
        source = "speed"
    elif gates is not None and len(gates.time_s) >= FEWEST_GATES:
        found = fit_gates(gates.position_m, gates.time_s, gates.start_behind_m)
        source = "gates"
    return {
        "profile_v_max_m_s": found.v_max_m_s,
        "profile_v_max_m_s_sd": found.v_max_sd_m_s,
        "profile_tau_s": found.tau_s,
        "profile_tau_s_sd": found.tau_sd_s,
        "profile_from": "" if found.reason else source,
        "profile_reason": found.reason,
    }


def share_columns(pushes: pd.DataFrame, body: BodyPath | None) -> dict[str, Any]:
    """Return how much of the speed gained came from the length and how much from the rate of the steps."""
    found = SpeedShares(reason=NO_PATH) if body is None else speed_shares(pushes)
    return {
        "speed_gain_ratio": found.speed_gain_ratio,
        "speed_gain_length_share_ratio": found.length_share_ratio,
        "speed_gain_rate_share_ratio": found.rate_share_ratio,
        "speed_gain_share_ratio_sd": found.share_sd_ratio,
        "speed_gain_reason": found.reason,
    }


def gate_columns(gates: Gates | None, body: BodyPath | None) -> dict[str, Any]:
    """Return the time from each gate to the next, and the speed of the body as it passes each; nothing without gates."""
    if gates is None:
        return {}
    splits_s = np.diff(gates.time_s)
    speed = spread = np.full(len(gates.time_s), np.nan)
    if body is not None and len(body.gate_s) == len(gates.time_s):
        speed = at(body, body.speed_m_s[:, None], body.gate_s)[:, 0]
        # The beam sees some part of the body, and averaging rounds the beginning off: while the body speeds up, that is a
        # speed of a little earlier or later.
        gain = at(body, np.gradient(body.speed_m_s, body.time_s)[:, None], body.gate_s)[:, 0]
        sooner_s = np.hypot(BEAM_SD_M / np.maximum(speed, SLOWEST_M_S), ROUNDED_SD_S)
        spread = np.hypot(at(body, body.speed_sd_m_s[:, None], body.gate_s)[:, 0], gain * sooner_s)
    found = {f"split_{k}_s": float(split_s) for k, split_s in enumerate(splits_s, 1)}
    for k, (one, sd) in enumerate(zip(speed, spread, strict=True), 1):
        found |= {f"gate_{k}_speed_m_s": float(one), f"gate_{k}_speed_m_s_sd": float(sd)}
    return found
