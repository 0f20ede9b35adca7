"""One simulated run: the logs of both skates and the truth."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.constants import HUNDRED_FEET_M
from imustride.simulation.body_draw import BodyDraw, chosen, draw_body, is_body_override
from imustride.simulation.body_run import BodyRun, body_run
from imustride.simulation.drawing import Draw, draw
from imustride.simulation.motion import Motion, move
from imustride.simulation.movements import movements
from imustride.simulation.sensors import Logged, ideal, own_time, record
from imustride.simulation.timing import SIDES
from imustride.simulation.transitions import GRID_HZ, PLAIN, sample
from imustride.simulation.truth import lane_angle, truth_table
from imustride.simulation.vibration import shaking

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.recording import SensorLog
    from imustride.simulation.body_truth import SegmentTruth

Factor = float | str | bool


@dataclass(frozen=True, eq=False)
class SimulatedRun:
    """A run as it would be read from files, with what really happened.

    Parameters
    ----------
    logs : dict of str to SensorLog
        By place: ``left_skate``, ``right_skate`` and the places of the body that were asked for.
    truth : DataFrame
        One row per true push; see `truth` and, where anything of the body is worn, `body_truth`.
    factors : dict
        What was drawn, for reporting errors by factor.
    grade : str
    gates_s : tuple of float
        True times at which the body crosses the gates at 0 and 30.48 m [s]; NaN where never.
    front_s, front_m : ndarray, shape (n,)
        Where the front of the body is along its path, from the first gate, on the clock of the left skate.
    gate_lane_rad : float
        Turn from the lane of the truth, which ends where pushing ends, to the one that ends at the last gate.
    movements : dict of str to dict of str to SensorLog
        Kind, then place: recordings of known movements before the run; none without sensors on the body.
    segments : dict of str to SegmentTruth
        Where every worn place really was; empty without sensors on the body.
    body : dict of str to float
        Height and segment lengths as measured [m]; empty without sensors on the body.
    """

    logs: dict[str, SensorLog]
    truth: pd.DataFrame
    factors: dict[str, Factor]
    grade: str
    gates_s: tuple[float, float] = (np.nan, np.nan)
    front_s: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    front_m: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    gate_lane_rad: float = 0.0
    movements: dict[str, dict[str, SensorLog]] = field(default_factory=dict)
    segments: dict[str, SegmentTruth] = field(default_factory=dict)
    body: dict[str, float] = field(default_factory=dict)


def simulate_run(
    seed: int, grade: str = "good", *, body: bool = False, places: Collection[str] = (), **overrides: Any
) -> SimulatedRun:
    """Simulate one standing-start sprint.

    Parameters
    ----------
    seed : int
        Same seed, same run.
    grade : {"good", "poor", "real_ice"}
        Difficulty: what is drawn and how widely.
    body : bool
        Sensors on every place of the body too. The skates are the same with and without.
    places : collection of str
        Places that are worn besides the skates, where not all are.
    **overrides
        Any field of `Skater`, `Conditions` or `Device` by name, replacing what was drawn; a device
        field may carry ``left_`` or ``right_`` in front. All other draws stay as they are.
        Single effects of real ice::

            landing_speed_m_s, landing_time_s, load_rise_s   silent (0.02) to hard (0.7) landings
            land_pitch_deg, slap, slap_time_s                toe-up landing and slap
            ice_vibration_m_s2, vibration_low_hz, vibration_high_hz,
            vibration_speed_power, vibration_load_power, vibration_turn_deg_s
            skid_m_s, chatter_m_s, chatter_hz                sideways slip of the blade
            slip_point                                       "contact" or "middle" does not slip
            toe_pivot, start_turn_deg                        first steps on the toe
            boot_flex_deg, flex_axis                         sensor against blade, with load
            bracket_hz, bracket_damping_ratio                ringing holder (0: rigid)
            path_curve_deg                                   change of heading over 30 m
            shuffle, stumble_ratio                           before the start; 0 none .. 1 nearly down
            low_pass_ratio, low_pass_order, low_pass_declared, delay_s
            acceleration_range_g, angular_velocity_range_deg_s
            gaps, gap_longest_s, gap_as_nan                  dropouts
            contact_asymmetry_percent, rate_asymmetry_percent, edge_asymmetry_percent
            clock_offset_s, clock_drift_ppm, stamp_jitter_s, rate_hz
            axes_declared, mount_quaternion, position_m, position_declared
            log_begins_late, log_ends_early, shock_kind, stop_kind, slip_deg

        Of the body any field of `Figure` or `Style`, and of its devices any field of `Device` with the place in
        front; ``body_rate_hz`` holds for all of them. Device fields without a place hold there too, but those
        that are of skates (position, flex, holder, slip, declarations)::

            wobble_deg, straight_error_deg, squat_turn_deg, body_shock
            knee_asymmetry_deg, extension_asymmetry_deg, arm_lag_asymmetry_s, arm_swing_asymmetry_deg
            pelvis_rate_hz, left_shank_mount_quaternion, ...

    Returns
    -------
    SimulatedRun

    Raises
    ------
    SettingsError
        If the grade, a place or an override is unknown.
    """
    drawn, worn = draw_all(seed, grade, 0, chosen(places, body=body), overrides)
    run = simulate(drawn, "run-1", worn)
    return run if worn is None else replace(run, movements=movements(drawn, worn))


def draw_all(
    seed: int, grade: str, run: int, places: Collection[str], overrides: Mapping[str, Any]
) -> tuple[Draw, BodyDraw | None]:
    """Draw a run and, where any place of the body is worn, the body.

    Raises
    ------
    SettingsError
        If the grade or an override is unknown.
    """
    drawn = draw(seed, grade, run, {key: v for key, v in overrides.items() if not is_body_override(key)})
    return drawn, draw_body(drawn, places, overrides) if places else None


def simulate(drawn: Draw, name: str, body: BodyDraw | None = None) -> SimulatedRun:
    """Simulate the run of drawn parameters, the body above the skates where it is drawn; without movements."""
    motion = move(drawn)
    rng = np.random.default_rng([drawn.seed, 90, drawn.run])
    log_s = _log_span(drawn, motion, rng)
    shaken = {side: _shaken(drawn, motion, side) for side in SIDES}
    logged = {side: _logged(drawn, motion, side, shaken[side], log_s, rng) for side in SIDES}
    truth = truth_table(drawn, motion, {side: logged[side].spoilt_s for side in SIDES}, name)
    time_s, front_m = front(drawn, motion)
    gates_s = gate_times(time_s, front_m)
    run = SimulatedRun(
        logs={f"{side}_skate": logged[side].log for side in SIDES},
        truth=truth,
        factors=_factors(drawn, motion),
        grade=drawn.grade,
        gates_s=gates_s,
        front_s=np.asarray(own_time(drawn.devices["left"], time_s)),
        front_m=front_m,
        gate_lane_rad=lane_angle(motion, gates_s[1]) - lane_angle(motion),
    )
    if body is None:
        return run
    shaking_m_s2 = {side: acceleration for side, (acceleration, _) in shaken.items()}
    return _with_body(run, body, body_run(drawn, body, motion, shaking_m_s2, log_s))


def _with_body(run: SimulatedRun, body: BodyDraw, moved: BodyRun) -> SimulatedRun:
    """Return the run with what the body's sensors recorded."""
    import pandas as pd

    return replace(
        run,
        logs=run.logs | moved.logs,
        truth=pd.concat([run.truth, moved.columns], axis=1),
        factors=run.factors | asdict(body.figure) | asdict(body.style),
        segments=moved.segments,
        body=dict(body.measured_m),
    )


Shaken = tuple["NDArray[np.float64]", "NDArray[np.float64]"]


def _shaken(drawn: Draw, motion: Motion, side: str) -> Shaken:
    """Return what shakes one skate."""
    foot = motion.feet[side]
    return shaking(drawn, motion.plan, foot.path, foot.attitude, foot.steps)


def _logged(
    drawn: Draw,
    motion: Motion,
    side: str,
    shaken: Shaken,
    log_s: tuple[float, float],
    rng: np.random.Generator,
) -> Logged:
    """Record one skate."""
    foot, device, plan = motion.feet[side], drawn.devices[side], motion.plan
    slip_at_s = plan.pushes[len(plan.pushes) // 2].off_s - 0.05
    force, rate = ideal(device, side, foot.attitude, foot.path.place_m, slip_at_s)
    motion_s = (plan.body_start_s, plan.push_end_s)
    return record(device, side, force + shaken[0], rate + shaken[1], log_s, motion_s, rng)


def _log_span(drawn: Draw, motion: Motion, rng: np.random.Generator) -> tuple[float, float]:
    """Return from when to when the devices log (true time)."""
    plan = motion.plan
    begin_s, end_s = 0.01, plan.end_s - 0.01
    if drawn.conditions.log_begins_late:
        begin_s = float(rng.uniform(plan.stance_s[0] - 0.3, plan.stance_s[1] - 3.05))
    if drawn.conditions.log_ends_early:
        end_s = float(rng.uniform(plan.push_end_s + 0.6, plan.stop_s[0]))
    return begin_s, max(end_s, plan.push_end_s + 0.6)


def front(drawn: Draw, motion: Motion) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return where the body, ahead of the feet, is along its path from the first gate (true time)."""
    body, plan = motion.body, motion.plan
    time_s = np.arange(len(body.path_m)) / GRID_HZ
    running = slice(sample(plan.pushes[2].on_s), sample(plan.push_end_s))
    ahead = (motion.middle_m[running, 0] - body.place_m[running, 0]).mean()
    front_m = body.path_m + ahead * PLAIN.course(time_s - plan.body_start_s) + drawn.skater.body_lead_m
    return time_s, front_m - drawn.skater.start_behind_m


def gate_times(time_s: NDArray[np.float64], front_m: NDArray[np.float64]) -> tuple[float, float]:
    """Return when the body crosses 0 and 30.48 m; NaN where never."""
    first, last = (
        float(np.interp(at, front_m, time_s)) if front_m[-1] > at else np.nan for at in (0.0, HUNDRED_FEET_M)
    )
    return first, last


def _factors(drawn: Draw, motion: Motion) -> dict[str, Factor]:
    """Flatten what was drawn into one table row."""
    factors: dict[str, Factor] = {"seed": drawn.seed, "pushes": len(motion.plan.pushes)}
    factors["stumble_order"] = motion.plan.stumble_order
    for part in (drawn.skater, drawn.conditions):
        factors.update(asdict(part))
    for side in SIDES:
        for name, value in asdict(drawn.devices[side]).items():
            if isinstance(value, (float, int, str)):
                factors[f"{side}_{name}"] = value
    return factors
