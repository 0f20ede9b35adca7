"""The joint fit against the same problem written down anew and given to general least squares (scipy).

A run of two skates is made by formula: each blade runs along itself on a waving line while the run speeds up, the edge
goes down with every push, and the sensors have small errors. The residuals below are written from the definition of the
problem, one by one, without the program's equations; only each skate's dead-reckoned path and its derivatives, which
`test_trajectory_strapdown.py` checks, are taken over.
"""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from imustride.kinematics import Clock, Cut, Gates, Kinematics
from imustride.trajectory.joint import Rhythm, solve
from imustride.trajectory.settings import TrackSettings
from imustride.trajectory.skate import LEVER, course
from imustride.trajectory.track import track

RATE_HZ, END_S = 250.0, 6.5
UPWARD_M_S2 = np.array([0.0, 0.0, 9.81])
STRIDE_S, V_MAX_M_S, TAU_S, APART_M = 0.64, 8.5, 1.2, 0.35
SIDES = {"left": 1.0, "right": -1.0}
FINE = 4  # samples made for each one kept
UNTIL_CONVERGED = TrackSettings(steps=50, wander_factors=(1.0,))
# The timing system's clock shows zero at the first gate, which lies half a metre before the stance.
GATES_M, BEHIND_M, TIMING_S = np.array([0.0, 10.0, 20.0, 30.0]), 0.5, 0.8


def run_of_blade(side, times):
    """Place (n, 2) of a blade that speeds up from rest, waves to its side and brakes; its attitude (n, 3, 3)."""
    since = np.maximum(times, 0.0)
    # How much it moves at all: eased in after the start, out from 5 to 6 s.
    lively = -np.expm1(-((since / 0.5) ** 2)) * 0.5 * (1 + np.cos(np.pi * np.clip(since - 5.0, 0.0, 1.0)))
    speed = V_MAX_M_S * -np.expm1(-since / TAU_S) * lively
    phase = 2 * np.pi * since / STRIDE_S + (0.0 if side == "left" else np.pi)
    wave = 0.09 * SIDES[side] * (1 - np.cos(phase)) * lively
    step = np.concatenate(([0.0], 0.5 * (speed[1:] + speed[:-1]) * np.diff(times)))
    place = np.column_stack([np.cumsum(step), SIDES[side] * APART_M / 2 + wave])
    sideways = np.gradient(wave, times)
    heading = np.arctan2(sideways * lively**2, np.maximum(speed, 1e-3))
    edge = -SIDES[side] * 0.45 * lively * (1 - np.cos(phase - 0.8)) / 2
    c, s, zero = np.cos(heading), np.sin(heading), np.zeros(len(times))
    # Level heading first, then the edge goes down about the blade.
    level, up = np.column_stack([-s, c, zero]), np.tile([0.0, 0.0, 1.0], (len(times), 1))
    lean, tilt = np.cos(edge)[:, None], np.sin(edge)[:, None]
    return place, np.stack(
        [np.column_stack([c, s, zero]), lean * level + tilt * up, lean * up - tilt * level], axis=2
    )


def made(side, rng, lever=(0.02, 0.04, 0.11)):
    """What a sensor with small errors on such a blade records, levelled and aligned nearly right."""
    fine = np.arange(-2.0, END_S, 1 / (RATE_HZ * FINE))
    place, attitude = run_of_blade(side, fine)
    sensor = np.column_stack([place, np.zeros(len(fine))]) + attitude @ np.array(lever)
    acceleration = np.gradient(np.gradient(sensor, fine, axis=0), fine, axis=0)
    change = np.gradient(attitude, fine, axis=0)
    spin = np.einsum("nji,njk->nik", attitude, change)
    rate = 0.5 * np.stack(
        [spin[:, 2, 1] - spin[:, 1, 2], spin[:, 0, 2] - spin[:, 2, 0], spin[:, 1, 0] - spin[:, 0, 1]], axis=1
    )
    force = np.einsum("nji,nj->ni", attitude, acceleration + UPWARD_M_S2)
    kept = slice(None, None, FINE)
    times, attitude, rate, force = fine[kept], attitude[kept], rate[kept], force[kept]
    drift = np.maximum(times, 0.0)[:, None] * rng.normal(0, 0.0008, 3)
    drift[:, 2] += rng.normal(0, 0.05)
    attitude = attitude + np.cross(drift[:, :, None], attitude, axisa=1, axisb=1, axisc=1)
    force = force + rng.normal(0, 0.03, 3) * (times > 0)[:, None] + rng.normal(0, 0.05, force.shape)
    velocity = np.column_stack([np.gradient(place[kept], times, axis=0), np.zeros(len(times))])
    return Kinematics(
        side=side, start_s=float(times[0]), rate_hz=RATE_HZ, acceleration_m_s2=force,
        angular_velocity_rad_s=rate, earth_from_segment=attitude, velocity_m_s=velocity,
        measured=np.ones(len(times), bool), clipped=np.zeros((len(times), 2), bool),
        cut=Cut((-2.0, -0.1), (0.0, END_S)), position_m=lever, forward_sd_rad=0.02,
    )  # fmt: skip


def contacts_of(side):
    """Blade-on to blade-off of each stride while the edge is down, own clock; the first stands."""
    first = 0.35 if side == "left" else 0.35 + STRIDE_S / 2
    on = np.arange(first, END_S - 1.5, STRIDE_S)
    standing = [[np.nan, 0.1]]
    return np.concatenate([standing, np.column_stack([on, on + 0.4])])


@pytest.fixture(scope="module")
def skates():
    rng = np.random.default_rng(11)
    return {side: made(side, rng) for side in SIDES}


def problem(skates, sides, settings, stopped=False, gates=None):
    """What the fit is given: courses, nodes on the ice, which of them stop, rhythm, gates."""
    courses = [
        course(skates[side], Clock(), (-0.1, END_S - 0.1), 0.02, (0.0, SIDES[side] * 0.15), settings)
        for side in sides
    ]
    on_ice = []
    for one, side in zip(courses, sides, strict=True):
        on, off = contacts_of(side)[1:].T
        on_ice.append(((one.time_s[:, None] > on + 0.03) & (one.time_s[:, None] < off - 0.03)).any(axis=1))
    rhythm = Rhythm(tuple(contacts_of(side)[1:, 0] for side in sides), END_S - 1.5, 0.7)
    return courses, on_ice, [stopped] * len(sides), rhythm, gates


def gates_passed():
    """When the body, the middle of the two true paths, passes each gate 0.25 m ahead of itself."""
    fine = np.arange(-2.0, END_S, 0.001)
    along = run_of_blade("left", fine)[0][:, 0]  # the feet wave sideways only
    passed = np.interp(GATES_M + BEHIND_M - 0.25, along, fine)
    return Gates(GATES_M, passed - passed[0], BEHIND_M), passed[0]


def parts(courses, value):
    """Each course's own unknowns."""
    ends = np.cumsum([len(one.spread) for one in courses])
    return np.split(value[: ends[-1]], ends[:-1])


def moved(courses, value):
    """Place and velocity of each skate at its nodes."""
    return [
        (one.position_m + one.position_by @ own, one.velocity_m_s + one.velocity_by @ own)
        for one, own in zip(courses, parts(courses, value), strict=True)
    ]


def slip_angles(courses, value, settings):
    """Slip against speed at nodes, and its standard deviation."""
    found = []
    for one, own, (_, velocity) in zip(courses, parts(courses, value), moved(courses, value), strict=True):
        speed = np.sqrt(velocity[:, 0] ** 2 + velocity[:, 1] ** 2 + settings.slow_m_s**2)
        across = settings.slip_sd_m_s**2 + (settings.sliding_point_sd_m * one.slip_by[:, LEVER]) ** 2
        sd = np.sqrt(across / speed**2 + settings.heading_sd_rad**2)
        found.append(((one.slip_m_s + one.slip_by @ own) / speed, sd))
    return found


def at(one, values, times):
    return np.column_stack([np.interp(times, one.time_s, axis) for axis in values.T])


def residuals(value, given, settings, slip_sd, held=None):
    """All that the fit weighs, each divided by its standard deviation.

    Where it slips more than the rest, a node counts less: rho(u) = u^2 / (1 + u^2 / 2.5^2) (Geman and McClure 1987, Bull.
    Int. Stat. Inst. 52:5-21). The standard deviations of the slip hold still, as in iterated weights; `held` holds the
    weights still as well.
    """
    courses, on_ice, stopped, rhythm, gates = given
    out = [
        np.concatenate([own / one.spread for one, own in zip(courses, parts(courses, value), strict=True)])
    ]
    places = moved(courses, value)
    share = np.sqrt(settings.step_s / settings.slip_independent_s)
    for k, (angle, _) in enumerate(slip_angles(courses, value, settings)):
        u = (angle / slip_sd[k])[on_ice[k]]
        out.append(share * u * (1 / np.sqrt(1 + (u / 2.5) ** 2) if held is None else held[k]))
    for (_, velocity), stands in zip(places, stopped, strict=True):
        if stands:
            out.append(velocity[-1] / settings.stop_sd_m_s)
    near = np.sqrt(settings.step_s / settings.lane_independent_s) / settings.lane_sd_m
    times = common_times(courses, settings.step_s)
    out.append(near * middle_of(courses, places, times)[times <= rhythm.end_s, 1])
    if len(courses) == 2:
        out += side_by_side(courses, [place for place, _ in places], rhythm.on_s, settings)
    if gates is not None:
        out += through_gates(value[-2:], gates, lambda when: middle_of(courses, places, when)[:, 0], settings)
    return np.concatenate(out)


def common_times(courses, step_s):
    return np.arange(max(one.time_s[0] for one in courses), min(one.time_s[-1] for one in courses), step_s)


def middle_of(courses, places, times):
    return np.mean([at(one, place, times) for one, (place, _) in zip(courses, places, strict=True)], axis=0)


def through_gates(unknowns, gates, along, settings):
    """Where the body is when a gate is passed; clock and lead are unknowns.

    The body is the middle of the feet averaged over one stride, what averaging does to its own result taken off once: the
    mean of a mean weighs a time by the overlap of two strides, which is a triangle.
    """
    offset, lead = unknowns
    when = gates.time_s + offset
    share = (np.arange(-400, 400) + 0.5) / 400
    feet = along((when[:, None] + STRIDE_S * share).ravel()).reshape(len(when), -1)
    once = feet[:, np.abs(share) < 0.5].mean(axis=1)
    body = 2 * once - np.average(feet, axis=1, weights=1 - np.abs(share))
    miss = body + settings.lead_m + lead - gates.start_behind_m - gates.position_m
    known = np.hypot(settings.lead_sd_m, settings.start_behind_known_sd_m)
    return [np.array([offset / 100.0, lead / known]), miss / settings.gate_sd_m]


def side_by_side(courses, places, on_s, settings):
    """Reach at every tenth of a second, and the mean distance of the feet over each stride; strides of either foot count half."""
    times = common_times(courses, 0.1)
    usual = np.array([0.0, settings.apart_m])

    def apart(when):
        return at(courses[0], places[0], when) - at(courses[1], places[1], when) - usual

    share = np.sqrt(0.1 / settings.reach_independent_s)
    out = [(share * apart(times) / settings.reach_sd_m).ravel()]
    for begin, end in itertools.chain.from_iterable(map(itertools.pairwise, on_s)):
        when = begin + (end - begin) * np.arange(24) / 24
        out.append(np.sqrt(0.5) * apart(when).mean(axis=0) / settings.beside_sd_m)
    return out


def by_scipy(given, settings, unknowns):
    """Minimise with the standard deviations of the slip found at the last minimum, until they stay."""
    scale = np.concatenate([one.spread for one in given[0]] + [np.ones(2)] * (given[-1] is not None))
    value = np.zeros(unknowns)
    if given[-1] is not None:
        value[-2] = gates_passed()[1] + 0.1
    for _ in range(12):
        sd = [sd for _, sd in slip_angles(given[0], value, settings)]
        found = least_squares(
            lambda x, sd=sd: residuals(x * scale, given, settings, sd), value / scale, jac="3-point",
            xtol=1e-15, ftol=1e-15, gtol=1e-15,
        )  # fmt: skip
        moved_by = np.abs(found.x - value / scale).max()
        value = found.x * scale
        if moved_by < 1e-9:
            break
    return value, scale


@pytest.mark.parametrize(
    ("sides", "stopped"), [(("left", "right"), False), (("left", "right"), True), (("right",), False)]
)
def test_the_fit_is_the_least_sum_of_squares(skates, sides, stopped):
    given = problem(skates, sides, UNTIL_CONVERGED, stopped)
    ours = solve(*given, UNTIL_CONVERGED).value
    theirs, scale = by_scipy(given, UNTIL_CONVERGED, len(ours))
    assert np.abs(ours / scale).max() > 0.3
    np.testing.assert_allclose(ours / scale, theirs / scale, atol=1e-6 * np.abs(ours / scale).max())


def test_the_fit_through_gates_is_the_least_sum_of_squares(skates):
    """To a thousandth of a standard deviation: the program integrates over the stride by its nodes, here it is a sum."""
    gates, first_s = gates_passed()
    given = problem(skates, ("left", "right"), UNTIL_CONVERGED, gates=gates)
    ours = solve(*given, UNTIL_CONVERGED)
    theirs, _ = by_scipy(given, UNTIL_CONVERGED, len(ours.value))
    sd = np.sqrt(np.diag(ours.covariance))
    np.testing.assert_allclose(ours.value / sd, theirs / sd, atol=1e-3)
    assert abs(ours.value[-2] - first_s) < 2 * sd[-2]


def test_the_stated_covariance_is_that_of_the_weighted_residuals(skates):
    given = problem(skates, ("left", "right"), UNTIL_CONVERGED, stopped=True)
    ours = solve(*given, UNTIL_CONVERGED)
    angles = slip_angles(given[0], ours.value, UNTIL_CONVERGED)
    sd = [sd for _, sd in angles]
    held = [1 / (1 + (angle / one / 2.5)[on] ** 2) for (angle, one), on in zip(angles, given[1], strict=True)]
    scale = np.concatenate([one.spread for one in given[0]])
    by = least_squares(
        lambda x: residuals(x * scale, given, UNTIL_CONVERGED, sd, held),
        ours.value / scale,
        "3-point",
        max_nfev=1,
    ).jac
    covariance = np.linalg.inv(by.T @ by) * scale[:, None] * scale
    np.testing.assert_allclose(
        ours.covariance / np.outer(scale, scale), covariance / np.outer(scale, scale), atol=1e-6
    )


def test_the_usual_number_of_steps_is_enough(skates):
    settings = TrackSettings()
    given = problem(skates, ("left", "right"), settings, gates=gates_passed()[0])
    few, many = solve(*given, settings), solve(*given, UNTIL_CONVERGED)
    assert np.abs((few.value - many.value) / np.sqrt(np.diag(many.covariance))).max() < 0.01


LATE_S = 3.0  # the right skate's own clock shows so much more


def moved_clock(found, late_s):
    """The same record on a clock that shows more."""
    cut = Cut((-2.0 + late_s, -0.1 + late_s), (late_s, END_S + late_s))
    return replace(found, start_s=found.start_s + late_s, cut=cut)


def at_true(side, times):
    fine = np.arange(-2.0, END_S, 0.001)
    return np.column_stack([np.interp(times, fine, axis) for axis in run_of_blade(side, fine)[0].T])


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


# Wanted of a clean run: stride length 0.7 %, sideways travel 1.2 cm, body speed 0.08 m/s; without gates the speed is held
# by the lane, the reach and the blades alone.
@pytest.mark.parametrize(("gated", "stride", "speed_m_s"), [(True, 0.007, 0.08), (False, 0.015, 0.15)])
def test_both_blades_are_tracked_to_where_they_were(skates, gated, stride, speed_m_s):
    late = {"left": 0.0, "right": LATE_S}
    found = track(
        {side: moved_clock(skates[side], late[side]) for side in SIDES},
        {side: Clock(offset_s=-late[side]) for side in SIDES},
        {side: contacts_of(side) + late[side] for side in SIDES},
        dict.fromkeys(SIDES, False),
        gates_passed()[0] if gated else None,
    )
    for side, path in found.paths.items():
        on, off = contacts_of(side)[1:].T
        begin, end = at_true(side, on), at_true(side, off)
        begins, ends = (path.at(path.position_m, when + late[side]) for when in (on, off))
        roots = path.at(path.root, on + late[side])
        miss = np.diff(begins[:, 0]) - np.diff(begin[:, 0])
        assert rms(miss / np.diff(begin[:, 0])) < stride
        assert (np.abs(miss) < 3 * np.linalg.norm(np.diff(roots[:, 0], axis=0), axis=1)).all()
        assert rms((ends - begins)[:, 1] - (end - begin)[:, 1]) < 0.012
    pushing = found.body.time_s < END_S - 1.5
    truth = np.gradient(at_true("left", found.body.time_s)[:, 0], found.body.time_s)
    assert rms((found.body.speed_m_s - truth)[pushing]) < speed_m_s
