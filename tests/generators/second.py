"""Second motion generator: `simulate_run` of the interface both generators share."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from tests.generators.attitude import Skater
from tests.generators.blade import Blade
from tests.generators.body import move_body
from tests.generators.device import Logged, Unit, fit_unit, make_log
from tests.generators.factors import GRADES, Factors, draw_factors
from tests.generators.ice import feel
from tests.generators.motion import Motion, move_skate
from tests.generators.plan import Plan, make_plan
from tests.generators.truth import true_pushes

if TYPE_CHECKING:
    import pandas as pd

    from imustride.recording import SensorLog

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
    plan, motions, devices, units : for tests of the generator itself
    """

    logs: dict[str, SensorLog]
    truth: pd.DataFrame
    factors: Factors
    grade: str
    plan: Plan = field(repr=False)
    motions: dict[str, Motion] = field(repr=False)
    devices: dict[str, Logged] = field(repr=False)
    units: dict[str, Unit] = field(repr=False)


def simulate_run(
    seed: int, grade: str = "good", *, day: int | None = None, **overrides: float | str | bool
) -> SimulatedRun:
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
    **overrides
        Factors by name, see `tests.generators.factors`.

    Raises
    ------
    ValueError
        When the grade or a factor is unknown.
    """
    level = GRADES.index(grade) if grade in GRADES else len(GRADES)
    fixed = np.random.default_rng([seed if day is None else day, 77_003, level]).spawn(3)
    streams = np.random.default_rng([seed, 77_101, level]).spawn(8)
    factors = draw_factors(fixed[0], streams[0], grade, dict(overrides))
    plan = make_plan(factors, streams[1])
    body = move_body(factors, plan)
    blade = Blade(float(factors["rocker_m"]), float(factors["half_blade_m"]))
    motions, devices, units = {}, {}, {}
    for k, side in enumerate(SIDES):
        units[side] = fit_unit(factors, side, fixed[1 + k])
        skater = Skater(factors, plan, body, side, streams[2 + k])
        motions[side], courses = move_skate(skater, blade)
        skater.rng = streams[4 + k]
        felt = feel(skater, motions[side], courses, units[side].lever_m)
        devices[side] = make_log(factors, plan, felt, units[side], streams[6 + k])
    truth = true_pushes(plan, motions, devices, f"{grade}-{seed}")
    logs = {f"{side}_skate": device.log for side, device in devices.items()}
    return SimulatedRun(logs, truth, factors, grade, plan, motions, devices, units)
