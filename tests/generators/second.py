"""Second motion generator: `simulate_run` of the interface both generators share."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from imustride.constants import HUNDRED_FEET_M
from tests.generators.attitude import Skater
from tests.generators.blade import Blade
from tests.generators.body import Body, move_body
from tests.generators.build import PLACES, SIDES
from tests.generators.device import Logged, Unit, fit_unit, make_log
from tests.generators.factors import GRADES, Factors, draw_factors
from tests.generators.ice import feel
from tests.generators.motion import Motion, move_skate
from tests.generators.plan import Plan, make_plan
from tests.generators.shapes import GRID_HZ, integral
from tests.generators.shapes import step as smooth_step
from tests.generators.truth import lane, true_pushes
from tests.generators.wearing import Skating, checked, split, wear

if TYPE_CHECKING:
    from imustride.recording import SensorLog
    from tests.generators.shapes import Array
    from tests.generators.wearing import SegmentTruth, Worn


@dataclass(frozen=True, eq=False)
class SimulatedRun:
    """One simulated run: logs as read from files, the truth, and what was drawn.

    Parameters
    ----------
    logs : dict
        Place -> log.
    truth : DataFrame
        One row per true push.
    factors : dict
        What was drawn or overridden.
    grade : str
    gates_s : tuple of float
        True times at which the body crosses the gates at 0 and 30.48 m [s]; NaN where never.
    front_s, front_m : ndarray, shape (n,)
        Where the front of the body is along its path, from the first gate, on the clock of the left skate.
    gate_lane_rad : float
        Turn from the lane of the truth, which ends where pushing ends, to the one that ends at the last gate.
    plan, motions, devices, units, worn : for tests of the generator itself
    movements : dict
        Kind -> place -> log of the known movements; empty without a body.
    segments : dict
        Place -> where it truly is over the run; empty without a body.
    body : dict
        Lengths as measured on the skater [m]; empty without a body.
    """

    logs: dict[str, SensorLog]
    truth: pd.DataFrame
    factors: Factors
    grade: str
    gates_s: tuple[float, float]
    front_s: Array
    front_m: Array
    gate_lane_rad: float
    plan: Plan = field(repr=False)
    motions: dict[str, Motion] = field(repr=False)
    devices: dict[str, Logged] = field(repr=False)
    units: dict[str, Unit] = field(repr=False)
    movements: dict[str, dict[str, SensorLog]] = field(default_factory=dict, repr=False)
    segments: dict[str, SegmentTruth] = field(default_factory=dict, repr=False)
    body: dict[str, float] = field(default_factory=dict)
    worn: Worn | None = field(default=None, repr=False)


def simulate_run(
    seed: int, grade: str = "good", *, day: int | None = None, body: bool = False, places: tuple[str, ...] = (), **overrides: Any
) -> SimulatedRun:  # fmt: skip
    """Simulate one run.

    Parameters
    ----------
    seed : int
        Equal seeds give equal runs; an override changes nothing else that is drawn.
    grade : str
        ``good``, ``poor`` or ``real_ice``.
    day : int, optional
        Runs of equal day share the skater, the ice and the fitted sensors with their errors; left
        out, every seed is a day of its own.
    body : bool
        Wear a sensor at every place of the body.
    places : tuple of str
        Or only at these. The skates' logs are the same with and without.
    **overrides
        Factors by name, see `tests.generators.factors`; of the body, see `tests.generators.build.draw_habits`.

    Raises
    ------
    ValueError
        When the grade, a factor or a place is unknown, or the body cannot follow its feet.
    """
    places = PLACES if body else checked(places)
    overrides, habits = split(overrides)
    level = GRADES.index(grade) if grade in GRADES else len(GRADES)
    fixed = np.random.default_rng([seed if day is None else day, 77_003, level]).spawn(3)
    streams = np.random.default_rng([seed, 77_101, level]).spawn(8)
    factors = draw_factors(fixed[0], streams[0], grade, dict(overrides))
    plan = make_plan(factors, streams[1])
    moved = move_body(factors, plan)
    blade = Blade(float(factors["rocker_m"]), float(factors["half_blade_m"]))
    motions, devices, units = {}, {}, {}
    for k, side in enumerate(SIDES):
        units[side] = fit_unit(factors, side, fixed[1 + k])
        skater = Skater(factors, plan, moved, side, streams[2 + k])
        motions[side], courses = move_skate(skater, blade)
        skater.rng = streams[4 + k]
        felt = feel(skater, motions[side], courses, units[side].lever_m)
        devices[side] = make_log(factors, plan, felt, units[side], streams[6 + k])
    front_m = front(factors, plan, moved, motions)
    time_s = np.arange(len(front_m)) / GRID_HZ
    gates_s = tuple(
        float(np.interp(at, front_m, time_s)) if front_m[-1] > at else np.nan for at in (0.0, HUNDRED_FEET_M)
    )
    truth = true_pushes(plan, motions, devices, f"{grade}-{seed}")
    logs = {f"{side}_skate": device.log for side, device in devices.items()}
    front_s = devices["left"].own(time_s)
    turn = turned(lane(plan, motions), lane(plan, motions, gates_s[1]))
    run = SimulatedRun(
        logs, truth, factors, grade, gates_s, front_s, front_m, turn, plan, motions, devices, units
    )
    if not places:
        return run
    so_far = Skating(
        (seed if day is None else day, seed, level), factors, plan, moved, motions, devices, units
    )
    return dressed(run, wear(so_far, places, habits))


def dressed(run: SimulatedRun, worn: Worn) -> SimulatedRun:
    """Put what the body wears into a run."""
    return replace(
        run,
        logs=run.logs | worn.logs,
        truth=pd.concat([run.truth, worn.truth], axis=1),
        movements=worn.movements,
        segments=worn.segments,
        body=worn.lengths_m,
        worn=worn,
    )


def turned(one: Array, other: Array) -> float:
    """Angle from one direction to another, counter-clockwise [rad]."""
    return float(np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other))


def front(f: Factors, plan: Plan, body: Body, motions: dict[str, Motion]) -> Array:
    """Where the front of the body, which leans ahead of the feet, is along its path from the first gate [m]."""
    along = integral(body.speed_m_s)
    middle = 0.5 * (motions["left"].place_m[:, 0] + motions["right"].place_m[:, 0])
    start, end = int(plan.start_s * GRID_HZ), int(plan.pushes_end_s * GRID_HZ)
    ahead = float((middle - body.place_m[:, 0])[start:end].mean())
    leaning = smooth_step((np.arange(len(along)) / GRID_HZ - plan.start_s) / 1.0)
    return (
        along
        + middle[0]
        + (ahead - middle[0]) * leaning
        + float(f["body_lead_m"])
        - float(f["start_behind_m"])
    )
