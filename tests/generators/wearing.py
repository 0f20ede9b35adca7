"""The rest of the body in a run of the second generator: logs, movements, truth of the places worn."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from tests.generators.build import PLACES, SIDES, SKATES, draw_habits, make_build, measured
from tests.generators.device import make_log
from tests.generators.ice import Felt
from tests.generators.limbs import Lower, make_rhythm, move_lower, skating
from tests.generators.limbs_truth import body_truth, see
from tests.generators.movements import Guided, guide
from tests.generators.shapes import GRID_HZ
from tests.generators.truth import lane, level_y
from tests.generators.turns import body_rate, specific_force
from tests.generators.upper import Upper, move_upper
from tests.generators.worn import (
    Segment,
    draw_seats,
    feel_body,
    fit_body,
    rate_of,
    segments,
    shock,
    wobbled,
)  # fmt: skip

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import pandas as pd

    from imustride.recording import SensorLog
    from tests.generators.body import Body
    from tests.generators.build import Build, Habits
    from tests.generators.device import Logged, Unit
    from tests.generators.factors import Factors
    from tests.generators.motion import Motion
    from tests.generators.plan import Plan
    from tests.generators.shapes import Array

TRUTH_EVERY = 10  # samples of the fine grid: 400 Hz
BODY_HABITS = frozenset(draw_habits(np.random.default_rng(0), {}))


@dataclass(frozen=True, eq=False)
class SegmentTruth:
    """Where one segment truly is over the run.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        On the clock of the left skate [s].
    lane_from_segment : ndarray, shape (n, 3, 3)
        Skates: of the frame levelled by the quiet stance.
    position_m : ndarray, shape (n, 3)
        Sensor on the body, or middle of the running edge, lane frame [m].
    """

    time_s: Array
    lane_from_segment: Array
    position_m: Array


@dataclass(frozen=True, eq=False)
class Worn:
    """What the body adds to a run; see `tests.generators.second.SimulatedRun`."""

    logs: dict[str, SensorLog]
    movements: dict[str, dict[str, SensorLog]]
    truth: pd.DataFrame
    segments: dict[str, SegmentTruth]
    lengths_m: dict[str, float]
    habits: Habits
    build: Build = field(repr=False)
    lower: Lower = field(repr=False)
    upper: Upper = field(repr=False)
    places: dict[str, Segment] = field(repr=False)
    guided: Guided = field(repr=False)
    devices: dict[str, Logged] = field(repr=False)
    units: dict[str, Unit] = field(repr=False)


@dataclass(frozen=True, eq=False)
class Skating:
    """The run so far: the skates, their devices, and the seeds of what comes on top."""

    seed: tuple[int, int, int]  # of the day, of the run, number of the grade
    factors: Factors
    plan: Plan
    body: Body
    motions: dict[str, Motion]
    devices: dict[str, Logged]
    units: dict[str, Unit]


def split(overrides: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Overrides of the skates' factors and of the body's habits."""
    skates = {name: value for name, value in overrides.items() if name not in BODY_HABITS}
    return skates, {name: value for name, value in overrides.items() if name in BODY_HABITS}


def checked(places: Iterable[str]) -> tuple[str, ...]:
    """Places of the body, in the order of `PLACES`.

    Raises
    ------
    ValueError
        When there is no such place.
    """
    wanted = set(places) - set(SKATES)
    unknown = sorted(wanted - set(PLACES))
    if unknown:
        message = f"unknown places {', '.join(unknown)}; known: {', '.join(PLACES)}"
        raise ValueError(message)
    return tuple(place for place in PLACES if place in wanted)


def wear(run: Skating, worn: tuple[str, ...], overrides: Mapping[str, Any]) -> Worn:
    """Move the body on the skates of a run and log the places worn."""
    day, seed, level = run.seed
    fixed = np.random.default_rng([day, 77_205, level]).spawn(3 + len(PLACES))
    streams = np.random.default_rng([seed, 77_303, level]).spawn(5 + len(PLACES))
    h = draw_habits(fixed[0], overrides)
    build = make_build(h, widest(run.factors))
    seats = draw_seats(build, fixed[1])
    rhythm = make_rhythm(run.plan)
    lower = move_lower(h, build, run.plan, run.body, run.motions, rhythm, streams[0])
    upper = move_upper(h, build, run.plan, lower, rhythm, run.body.heading_rad, streams[1])
    places = segments(lower.legs, lower.pelvis_m, lower.pelvis, upper, seats)
    guided = guide(h, build, {s: levelled(run, s) for s in SIDES}, streams[2])
    again = segments(guided.legs, guided.pelvis_m, guided.pelvis, guided.upper, seats)
    later_s = run.plan.end_s + streams[3].uniform(60.0, 180.0)
    ankles = {side: leg.ankle_m for side, leg in lower.legs.items()}
    devices, moved, units = {}, {}, {}
    size = np.radians(float(h["wobble_deg"]))
    for place in worn:
        k = PLACES.index(place)
        unit = units[place] = fit_body(run.factors, place, seats[place], fixed[3 + k])
        own = run.factors | {"rate_hz": rate_of(h, run.factors, place)}
        rngs = streams[5 + k].spawn(4)
        soft = wobbled(places[place], size, skating(run.plan), rngs[0])
        felt = feel_body(soft, float(h["body_shock"]) * shock(ankles, place))
        devices[place] = make_log(own, run.plan, felt, unit, rngs[1])
        soft = wobbled(again[place], size, guided.active, rngs[2])
        felt = feel_body(soft, np.zeros(len(guided.active)))
        moved[place] = go_on(own, run.plan, guided, felt, unit, devices[place], later_s, rngs[3])
    for side, rng in zip(SIDES, streams[4].spawn(2), strict=True):
        felt = feel_skate(guided.skates[side], run.units[side])
        own_device = run.devices[side]
        moved[f"{side}_skate"] = go_on(run.factors, run.plan, guided, felt, run.units[side], own_device, later_s, rng)  # fmt: skip
    truth, seen = true_body(run, lower, build, places, worn)
    return Worn(
        {place: device.log for place, device in devices.items()}, {"all": moved}, truth, seen,
        measured(build, fixed[2]), h, build, lower, upper, places, guided, devices, units,
    )  # fmt: skip


def widest(f: Factors) -> float:
    """How far apart the feet may be expected at times, seen from above [m]; of the skater, not of one run."""
    aside = float(f["abduction_m"]) + 2.0 * float(f["hip_half_width_m"])
    return 1.2 * float(np.hypot(aside, float(f["reach_back_m"]) + float(f["reach_ahead_m"])))


def levelled(run: Skating, side: str) -> Array:
    """levelled_from_segment (3, 3) of a skate: z along gravity in the quiet stance, x in the blade's plane."""
    motion = run.motions[side]
    y = level_y(motion, run.plan)
    i, j = (int(np.ceil(t * GRID_HZ)) for t in run.plan.quiet_s)
    up = motion.earth_from_segment[i:j, 2].mean(axis=0)
    up /= np.linalg.norm(up)
    return np.array([np.cross(y, up), y, up])


def go_on(
    f: Factors, plan: Plan, guided: Guided, felt: Felt, unit: Unit, device: Logged, later_s: float, rng: np.random.Generator
) -> SensorLog:  # fmt: skip
    """Log the movements with a device whose clock has run on since the run."""
    end = guided.end_s
    calendar = replace(plan, log_s=(0.05, end - 0.05), start_s=0.3 * end, brake_s=(0.9 * end, end))
    clock = (float(device.own(later_s)), device.drift)
    log = make_log(f, calendar, felt, unit, rng, clock).log
    return replace(log, source=f"movements_{unit.sensor.place}.csv")


def feel_skate(skate: Segment, unit: Unit) -> Felt:
    """Specific force and rate of a sensor on a skate that hardly moves."""
    place = skate.place_m + skate.turn @ unit.lever_m
    return Felt(specific_force(skate.turn, place), body_rate(skate.turn), np.zeros(len(place)))


def true_body(
    run: Skating, lower: Lower, build: Build, body: dict[str, Segment], worn: tuple[str, ...]
) -> tuple[pd.DataFrame, dict[str, SegmentTruth]]:
    """Columns of the truth, and where every worn segment is."""
    ahead = lane(run.plan, run.motions)
    turn = np.array([[ahead[0], ahead[1], 0.0], [-ahead[1], ahead[0], 0.0], [0.0, 0.0, 1.0]])
    skates = {
        f"{side}_skate": Segment(motion.earth_from_segment @ levelled(run, side).T, motion.place_m)
        for side, motion in run.motions.items()
    }
    seen = see(turn, skates, body, lower.legs, build, worn)
    clock = run.devices["left"]
    time_s = np.asarray(clock.own(np.arange(len(lower.yaw_rad)) / GRID_HZ))
    few = slice(None, None, TRUTH_EVERY)
    found = {
        place: SegmentTruth(time_s[few], seen.turns[place][few], seen.places_m[place][few])
        for place in (*SKATES, *worn)
    }
    return body_truth(seen, run.plan, 1.0 + clock.drift), found
