"""What sensors log between being fitted and the first run, and runs with a sensor that sits loose.

Both motion generators, with what they do not know of themselves: taps on one skate and a rocking sensor.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.simulation import run as first
from imustride.simulation.drawing import draw
from imustride.simulation.motion import move
from imustride.simulation.sensors import ideal, record
from imustride.simulation.vibration import shaking
from tests.generators import second
from tests.generators.attitude import Skater
from tests.generators.blade import Blade
from tests.generators.body import move_body
from tests.generators.device import fit_unit, make_log
from tests.generators.factors import GRADES, draw_factors
from tests.generators.ice import Felt, feel
from tests.generators.loose import LooseMount, rocked
from tests.generators.motion import move_skate
from tests.generators.plan import Plan, make_plan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import SensorLog

    Array = NDArray[np.float64]

SIDES = ("left", "right")
GRID_HZ = 4000.0  # of both generators
STAND_S = 3.4  # before the heels drop, at least
TAPPED_AFTER_S = (1.2, 2.6)  # left, right: after the second heel drop has calmed down
AFTER_TAPS_S = 1.5


@dataclass(frozen=True)
class Tap:
    """A blow with a knuckle or the heel of a hand on one skate (common practice, no source)."""

    at_s: float
    size_m_s2: float
    lasts_s: float
    ring_hz: float
    ring_s: float
    direction: tuple[float, float, float]


def draw_tap(rng: np.random.Generator, at_s: float) -> Tap:
    """Draw one tap on the side of a skate."""
    way = rng.normal(size=3) * [0.4, 1.0, 0.4]
    way /= np.linalg.norm(way)
    size_m_s2, lasts_s = float(np.exp(rng.uniform(np.log(80.0), np.log(400.0)))), rng.uniform(0.002, 0.006)
    ring_hz, ring_s = float(np.exp(rng.uniform(np.log(60.0), np.log(300.0)))), rng.uniform(0.004, 0.02)
    return Tap(at_s, size_m_s2, lasts_s, ring_hz, ring_s, (float(way[0]), float(way[1]), float(way[2])))


def tapped(force: Array, rate: Array, tap: Tap, share: float) -> tuple[Array, Array]:
    """Add a tap: the blow, the ringing of the skate and its short rocking; `share` of it arrives here."""
    time_s = np.arange(len(force)) / GRID_HZ - tap.at_s
    size = share * tap.size_m_s2
    blow = size * np.where((time_s > 0) & (time_s < tap.lasts_s), np.sin(np.pi * time_s / tap.lasts_s), 0.0)
    after = np.maximum(time_s, 0.0)
    ring = 0.5 * size * np.exp(-after / tap.ring_s) * np.sin(2 * np.pi * tap.ring_hz * after)
    rocks = np.radians(0.05 * size) * np.exp(-after / 0.15) * np.sin(2 * np.pi * 2.0 * after)
    way = np.asarray(tap.direction)
    about = np.cross(way, [0.0, 0.0, 1.0])
    return force + (blow + ring)[:, None] * way, rate + (rocks + np.radians(1.0) * ring)[:, None] * about


@dataclass(frozen=True)
class Fitted:
    """Logs by place, with what was drawn for the first generator's or second's devices."""

    logs: dict[str, SensorLog]
    errors: dict[str, Any]  # by place: a `Device` of the first generator or a `Unit` of the second


def _changed(
    side: str, force: Array, rate: Array, taps: dict[str, Tap], loose: dict[str, LooseMount]
) -> tuple[Array, Array]:
    """Let both taps and a loose mount act on what a tight sensor would feel."""
    for tapped_side, tap in taps.items():
        force, rate = tapped(force, rate, tap, 1.0 if side == tapped_side else 0.02)
    return rocked(loose[side], force, rate, GRID_HZ) if side in loose else (force, rate)


def _taps(seed: int, after_s: float) -> dict[str, Tap]:
    rng = np.random.default_rng([seed, 55])
    late = rng.uniform(-0.3, 0.3, 2)
    return {side: draw_tap(rng, after_s + TAPPED_AFTER_S[k] + late[k]) for k, side in enumerate(SIDES)}


def first_fitted(
    seed: int,
    grade: str = "good",
    *,
    fitting: bool,
    loose: dict[str, LooseMount] | None = None,
    **overrides: Any,
) -> Fitted:
    """Simulate with the first generator: the guided form before anybody skates, or a run.

    Parameters
    ----------
    seed, grade, **overrides
        As in `imustride.simulation.simulate_run`.
    fitting : bool
        Stand, both heels twice, tap left, tap right; else a whole run.
    loose : dict of side to LooseMount, optional
    """
    if fitting:
        overrides = {
            "lead_in_s": STAND_S,
            "stance_s": 6.0,
            "shuffle": False,
            "shock_kind": "heels",
            **overrides,
        }
    drawn = draw(seed, grade, 0, overrides)
    motion = move(drawn)
    plan, rng = motion.plan, np.random.default_rng([drawn.seed, 90, drawn.run])
    span_s = first._log_span(drawn, motion, rng)
    taps: dict[str, Tap] = {}
    if fitting:
        taps = _taps(seed, plan.shocks_s[1])
        span_s = (0.01, taps["right"].at_s + AFTER_TAPS_S)
    logs = {}
    for side in SIDES:
        foot, device = motion.feet[side], drawn.devices[side]
        slip_at_s = plan.pushes[len(plan.pushes) // 2].off_s - 0.05
        force, rate = ideal(device, side, foot.attitude, foot.path.place_m, slip_at_s)
        shaken, turned = shaking(drawn, plan, foot.path, foot.attitude, foot.steps)
        force, rate = _changed(side, force + shaken, rate + turned, taps, loose or {})
        moving_s = (plan.body_start_s, plan.push_end_s)
        logs[f"{side}_skate"] = record(device, side, force, rate, span_s, moving_s, rng).log
    return Fitted(logs, {f"{side}_skate": drawn.devices[side] for side in SIDES})


def second_fitted(
    seed: int,
    grade: str = "good",
    *,
    fitting: bool,
    loose: dict[str, LooseMount] | None = None,
    **overrides: Any,
) -> Fitted:
    """Simulate with the second generator; see `first_fitted`, and `tests.generators.second` for overrides."""
    level = GRADES.index(grade)
    fixed = np.random.default_rng([seed, 77_003, level]).spawn(3)
    streams = np.random.default_rng([seed, 77_101, level]).spawn(8)
    if fitting:
        overrides = {"quiet_s": 6.0, "shuffle": False, "log_cut": "none", **overrides}
    factors = draw_factors(fixed[0], streams[0], grade, overrides)
    plan = make_plan(factors, streams[1])
    taps: dict[str, Tap] = {}
    if fitting:
        plan = _later(plan, STAND_S)
        taps = _taps(seed, plan.shocks_s[1])
        plan = replace(plan, log_s=(plan.log_s[0], taps["right"].at_s + AFTER_TAPS_S))
    body = move_body(factors, plan)
    blade = Blade(float(factors["rocker_m"]), float(factors["half_blade_m"]))
    logs, units = {}, {}
    for k, side in enumerate(second.SIDES):
        unit = fit_unit(factors, side, fixed[1 + k])
        skater = Skater(factors, plan, body, side, streams[2 + k])
        moved, courses = move_skate(skater, blade)
        skater.rng = streams[4 + k]
        felt = feel(skater, moved, courses, unit.lever_m)
        force, rate = _changed(side, felt.force_m_s2, felt.rate_rad_s, taps, loose or {})
        logs[f"{side}_skate"] = make_log(
            factors, plan, Felt(force, rate, felt.load), unit, streams[6 + k]
        ).log
        units[f"{side}_skate"] = unit
    return Fitted(logs, units)


def _later(plan: Plan, by_s: float) -> Plan:
    """Let everything happen later by some seconds."""
    return replace(
        plan,
        stances=tuple(replace(s, on_s=s.on_s + by_s, off_s=s.off_s + by_s) for s in plan.stances),
        shocks_s=tuple(at + by_s for at in plan.shocks_s),
        quiet_s=(plan.quiet_s[0] + by_s, plan.quiet_s[1] + by_s),
        start_s=plan.start_s + by_s,
        pushes_end_s=plan.pushes_end_s + by_s,
        brake_s=(plan.brake_s[0] + by_s, plan.brake_s[1] + by_s),
        end_s=plan.end_s + by_s,
        log_s=(plan.log_s[0], plan.log_s[1] + by_s),
        shuffles_s=tuple((begin + by_s, end + by_s) for begin, end in plan.shuffles_s),
    )
