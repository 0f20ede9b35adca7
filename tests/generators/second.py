"""Second motion generator: `simulate_run` of the interface both generators share."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from tests.generators.attitude import Skater
from tests.generators.blade import Blade
from tests.generators.body import move_body
from tests.generators.device import Logged, make_log
from tests.generators.factors import GRADES, Factors, draw_factors
from tests.generators.ice import feel
from tests.generators.motion import Motion, move_skate
from tests.generators.plan import Plan, make_plan
from tests.generators.truth import true_pushes

if TYPE_CHECKING:
    import pandas as pd

    from imustride.recording import SensorLog
    from tests.generators.shapes import Array

SIDES = ("left", "right")


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
    plan, motions, devices, levers_m : for tests of the generator itself
    """

    logs: dict[str, SensorLog]
    truth: pd.DataFrame
    factors: Factors
    grade: str
    plan: Plan = field(repr=False)
    motions: dict[str, Motion] = field(repr=False)
    devices: dict[str, Logged] = field(repr=False)
    levers_m: dict[str, Array] = field(repr=False)


def simulate_run(seed: int, grade: str = "good", **overrides: float | str | bool) -> SimulatedRun:
    """Simulate one run.

    Parameters
    ----------
    seed : int
        Equal seeds give equal runs; an override changes nothing else that is drawn.
    grade : str
        ``good``, ``poor`` or ``real_ice``.
    **overrides
        Factors by name, see `tests.generators.factors`.

    Raises
    ------
    ValueError
        When the grade or a factor is unknown.
    """
    streams = np.random.default_rng([seed, 77_003, GRADES.index(grade) if grade in GRADES else 9]).spawn(8)
    factors = draw_factors(streams[0], grade, dict(overrides))
    plan = make_plan(factors, streams[1])
    body = move_body(factors, plan)
    blade = Blade(float(factors["rocker_m"]), float(factors["half_blade_m"]))
    motions, devices, levers = {}, {}, {}
    for k, side in enumerate(SIDES):
        skater = Skater(factors, plan, body, side, streams[2 + k])
        motions[side], courses = move_skate(skater, blade)
        lever = streams[4 + k].uniform([-0.03, 0.0, 0.08], [0.03, 0.05, 0.14]) * [1.0, skater.sign, 1.0]
        skater.rng = streams[4 + k]
        felt = feel(skater, motions[side], courses, lever)
        devices[side] = make_log(factors, plan, felt, side, lever, streams[6 + k])
        levers[side] = lever
    truth = true_pushes(plan, motions, devices, f"{grade}-{seed}")
    logs = {f"{side}_skate": device.log for side, device in devices.items()}
    return SimulatedRun(logs, truth, factors, grade, plan, motions, devices, levers)
