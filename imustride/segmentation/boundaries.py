"""The instants of touch-down and lift-off, from all evidence around the boundaries found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from imustride.segmentation.counting import sample_count
from imustride.segmentation.instants import decline, hinge, mean_instant, on_side, windows
from imustride.segmentation.vibration import Vibration, VibrationSettings, ice_vibration

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.segmentation.contact_point import Sliding


@dataclass(frozen=True, slots=True)
class BoundarySettings:
    """Windows, scales and weights (common practice, no source; set on simulated runs, see DEVELOPERS).

    Odds are per 2.5 ms. `shift_s`: motion shows a boundary this much into the swing.
    """

    half_window_s: float = 0.09
    shift_s: float = 0.015
    search_s: float = 0.06
    search_again_s: float = 0.05
    hinge_rise_m_s: float = 0.08
    hinge_slip_m_s: float = 0.05
    turning_arm_m: float = 0.1  # slip that turning fakes, per rad/s
    turning_slip_m_s: float = 0.15
    # A made step of vibration through this chain is timed early by this much: seconds, and samples.
    on_early: tuple[float, float] = (0.001, 0.3)
    off_early: tuple[float, float] = (0.004, 0.0)
    on_energy_slope: float = 0.8
    on_energy_offset: float = 1.5
    on_energy_offset_share: float = 0.45
    usual_speed_m_s: float = 3.0
    on_energy_share: float = 0.4
    on_energy_bounds: tuple[float, float] = (-6.0, 25.0)
    on_rise: tuple[float, float] = (0.14, 0.045)  # weight, scale [m/s]
    on_slip: tuple[float, float] = (0.7, 0.14)
    on_odds_floor: float = -4.9
    on_impact: float = 1.5
    on_impact_bound: float = 4.0
    impact_s: tuple[float, float] = (0.025, 0.015)
    on_hinges: tuple[float, float] = (0.18, 3.8)  # rise, slip
    first_off_hinges: tuple[float, float] = (6.6, 0.18)
    off_decline: float = 0.11
    off_hinges: tuple[float, float] = (0.017, 0.009)
    ice_span_s: tuple[float, float] = (0.012, 0.06)
    air_span_s: tuple[float, float] = (0.012, 0.05)
    off_slow_m_s: float = 2.5


@dataclass(frozen=True, eq=False, slots=True)
class Windows:
    """Evidence around boundaries, air to ice, shape (events, m); `near` their middle samples."""

    near: NDArray[np.int64]
    rise: NDArray[np.float64]
    slip: NDArray[np.float64]
    turning: NDArray[np.float64]
    known: NDArray[np.bool_]
    half: int


@dataclass(frozen=True, eq=False, slots=True)
class Signals:
    """What the boundaries are sought in: motion of the contact point, yaw rate, acceleration."""

    motion: Sliding
    yaw_rate_rad_s: NDArray[np.float64]
    acceleration: NDArray[np.float64]
    rate_hz: float


def gather(
    signals: Signals, near: NDArray[np.int64], way: Literal[1, -1], settings: BoundarySettings
) -> Windows:
    """Cut the windows; rise and slip are counted from their level on the ice."""
    half = sample_count(settings.half_window_s, signals.rate_hz)
    ice = slice(half + sample_count(0.03, signals.rate_hz), None)

    def cut(values: NDArray[Any]) -> NDArray[Any]:
        return windows(values, near, half)[:, ::way]

    rise, slip = cut(signals.motion.rise_m_s), cut(signals.motion.slip_m_s)
    return Windows(
        near,
        rise - np.median(rise[:, ice], axis=1, keepdims=True),
        slip - np.median(slip[:, ice], axis=1, keepdims=True),
        np.abs(cut(signals.yaw_rate_rad_s)),
        np.asarray(cut(signals.motion.known).all(axis=1)),
        half,
    )


def hinges(
    found: Windows, weights: tuple[float, float], rate_hz: float, settings: BoundarySettings
) -> NDArray[np.float64]:
    """Weighted likelihoods that the contact point starts to rise and to slip."""
    doubt = 1 + (settings.turning_arm_m * found.turning.max(axis=1) / settings.turning_slip_m_s) ** 2
    likely = weights[0] * hinge(found.rise, rate_hz, settings.hinge_rise_m_s)
    slip = hinge(found.slip[found.known], rate_hz, settings.hinge_slip_m_s)
    likely[found.known] += weights[1] * slip / doubt[found.known, None]
    return likely


def touch_downs(
    signals: Signals, near: NDArray[np.int64], vibration: Vibration | None, settings: BoundarySettings
) -> NDArray[np.float64]:
    """Return the instants of touch-down [samples, fractional] near boundaries."""
    rate_hz = signals.rate_hz
    found = gather(signals, near + sample_count(settings.shift_s, rate_hz), 1, settings)
    likely = hinges(found, settings.on_hinges, rate_hz, settings)
    (rise_weight, rise_scale), (slip_weight, slip_scale) = settings.on_rise, settings.on_slip
    floor = settings.on_odds_floor
    odds = rise_weight * np.clip(1 - (found.rise / rise_scale) ** 2, floor, 1)
    scale = np.hypot(slip_scale, settings.turning_arm_m * found.turning)
    odds += slip_weight * found.known[:, None] * np.clip(1 - (found.slip / scale) ** 2, floor, 1)
    if vibration is not None:
        level = windows(vibration.rising, found.near, found.half)
        speed = signals.motion.speed_m_s[np.clip(found.near, 0, len(signals.motion.speed_m_s) - 1)]
        usual = np.where(found.known, np.clip(speed / settings.usual_speed_m_s, 0, 1), 1.0)
        odds += onset_odds(level, vibration, usual, rate_hz, settings)
        likely += settings.on_impact * impact(level, rate_hz, settings)
    likely += on_side(odds, rate_hz)
    mean, _ = mean_instant(likely, sample_count(settings.search_s, rate_hz))
    return found.near + mean + settings.on_early[0] * rate_hz + settings.on_early[1]


def impact(level: NDArray[np.float64], rate_hz: float, settings: BoundarySettings) -> NDArray[np.float64]:
    """How much the energy jumps at every sample, log of the ratio after to before, bounded, shape (events, m)."""
    before, after = (max(sample_count(s, rate_hz), 1) for s in settings.impact_s)
    total = np.cumsum(np.pad(np.exp(level), ((0, 0), (before + 1, after)), mode="edge"), axis=1)
    m = level.shape[1]
    at = np.arange(m) + before
    ahead = (total[:, at + after] - total[:, at]) / after
    behind = (total[:, at] - total[:, at - before]) / before
    return np.asarray(np.clip(np.log(ahead / behind), 0, settings.on_impact_bound))


def onset_odds(
    level: NDArray[np.float64],
    vibration: Vibration,
    usual: NDArray[np.float64],
    rate_hz: float,
    settings: BoundarySettings,
) -> NDArray[np.float64]:
    """Odds of each sample by how far its energy stands above the swing's, shape (events, m).

    `usual`, shape (events,), tells from 0 to 1 how far the run's usual level on the ice holds: a slow
    blade vibrates less.
    """
    half = level.shape[1] // 2
    run_share = 0.67 * usual
    air = np.median(level[:, : max(sample_count(0.04, rate_hz), 3)], axis=1)
    air = 0.33 * np.minimum(air, vibration.ice) + 0.67 * vibration.air
    ice = np.median(level[:, half + sample_count(0.01, rate_hz) : half + sample_count(0.06, rate_hz)], axis=1)
    ice = np.maximum((1 - run_share) * ice + run_share * vibration.ice, air + 0.5)
    gap = (ice - air)[:, None]
    slow = np.minimum(settings.on_energy_offset, settings.on_energy_offset_share * gap)
    offset = usual[:, None] * settings.on_energy_offset + (1 - usual[:, None]) * slow
    above = level - air[:, None] - settings.on_energy_share * gap - offset
    return np.asarray(
        np.clip(settings.on_energy_slope * above, *settings.on_energy_bounds) * np.clip((gap - 0.7) / 2, 0, 1)
    )


def lift_offs(signals: Signals, near: NDArray[np.int64], settings: BoundarySettings) -> NDArray[np.float64]:
    """Return the instants of lift-off [samples, fractional] near boundaries.

    First from the motion alone; then the vibration's filter is learnt anew from what lies just
    before and just after these instants, where the push-off itself leaks most, and joins in.
    """
    rate_hz = signals.rate_hz
    found = gather(signals, near - sample_count(settings.shift_s, rate_hz), -1, settings)
    likely = hinges(found, settings.first_off_hinges, rate_hz, settings)
    mean, _ = mean_instant(likely, sample_count(settings.search_s, rate_hz))
    first = found.near - mean
    found = gather(signals, np.round(first).astype(int), -1, settings)
    likely = hinges(found, settings.off_hinges, rate_hz, settings)
    vibration = vibration_at(signals, first, settings)
    if vibration is not None:
        likely += vanishing(vibration, signals, found, settings)
    mean, _ = mean_instant(likely, sample_count(settings.search_again_s, rate_hz))
    return found.near - mean + settings.off_early[0] * rate_hz + settings.off_early[1]


def vibration_at(
    signals: Signals, instants: NDArray[np.float64], settings: BoundarySettings
) -> Vibration | None:
    """Learn a vibration channel from the spans just before and just after lift-offs."""
    count, rate_hz = len(signals.acceleration), signals.rate_hz
    before, behind = (
        np.array([sample_count(edge_s, rate_hz) for edge_s in span])
        for span in (settings.ice_span_s, settings.air_span_s)
    )
    on = near_instants(count, instants, -before[::-1])
    off = near_instants(count, instants, behind)
    return ice_vibration(signals.acceleration, on, off, rate_hz, VibrationSettings(filter_s=0.014))


def near_instants(count: int, instants: NDArray[np.float64], span: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Mark the samples of a span, counted from each instant, shape (count,)."""
    marked = np.zeros(count, bool)
    edges = np.maximum(np.round(instants[:, None] + span), 0).astype(int)
    for begin, end in edges.tolist():
        marked[begin:end] = True
    return marked


def vanishing(
    vibration: Vibration, signals: Signals, found: Windows, settings: BoundarySettings
) -> NDArray[np.float64]:
    """Weighted likelihood that the vibration dies away, shape (events, m)."""
    rate_hz = signals.rate_hz
    level = windows(vibration.falling, found.near, found.half)[:, ::-1]
    air = np.median(level[:, : max(sample_count(0.03, rate_hz), 3)], axis=1)
    air = 0.5 * np.minimum(air, vibration.air + 1) + 0.5 * vibration.air
    ice = np.median(
        level[:, found.half + sample_count(0.008, rate_hz) : found.half + sample_count(0.06, rate_hz)], axis=1
    )
    ice = np.maximum(0.5 * ice + 0.5 * vibration.ice, air + 0.3)
    trust = np.clip((vibration.ice - vibration.air - np.log(2)) / 2, 0, 1)
    speed = signals.motion.speed_m_s[np.clip(found.near, 0, len(signals.motion.speed_m_s) - 1)]
    trust = trust * np.where(found.known, np.clip(speed / settings.off_slow_m_s, 0, 1) ** 2, 1.0)
    reach = sample_count(settings.search_again_s, rate_hz)
    likely = decline(level, ice, air, rate_hz, reach)
    weight = np.broadcast_to(settings.off_decline * trust[:, None], likely.shape)
    out = np.full(likely.shape, -np.inf)
    return np.asarray(np.multiply(weight, likely, out=out, where=np.isfinite(likely)))
