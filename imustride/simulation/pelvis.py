"""The pelvis's path: as smooth as the legs allow, low in the glide, high enough and never too high for the legs.

The path is a quintic spline. Its coefficients are the least-squares compromise between smoothness, the body's
path the skates were made for, knee bends aimed at, the length of the leg at every blade-off, and the reach of
both legs at any time (Gauss-Newton; a leg counts as soon as it is too long or too short).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.limbs import span_ratio
from imustride.simulation.posture import begin_s
from imustride.simulation.timing import SIDES
from imustride.simulation.transitions import GRID_HZ, Course
from imustride.simulation.upper_body import OUTWARD_Y

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from scipy.sparse import csr_array

    from imustride.simulation.body_draw import Figure, Style
    from imustride.simulation.motion import Motion
    from imustride.simulation.timing import Contact, Plan

    Floats = NDArray[np.float64]

KNOT_S, EVERY = 0.08, 40  # grid samples between the times at which the path is judged
TURNS, SETTLED_M = 60, 1e-4  # Gauss-Newton steps at most; fewer where the path no longer moves
WHOLE_STEPS, SHORTER = 6, 0.5  # later steps are shortened: they would overshoot to and fro
LONGEST_RATIO, SHORTEST_RATIO, SOFT_RATIO = 0.985, 0.5, 0.003
COUNTS = 1e-3  # what sets in less than this is left out
SHORTEST_FLEXION = 0.35  # share of the glide's bend at the first push, growing over `DEEP_AFTER` pushes
DEEP_AFTER = 6
DEEPER_DEG = 30.0  # than the hips' height at blade-off alone would give
LEAST_BEND_DEG = 55.0
# How much each wish may be missed [m, m/s^3, share of the leg].
SIDEWAYS_M, UPRIGHT_M, STILL_M, JERK_M_S3 = 0.09, 0.05, 0.004, 80.0
GLIDE_RATIO, OFF_RATIO, REACH_RATIO, ASIDE_M = 0.04, 0.0015, 0.001, 0.1

Rows = tuple["csr_array", "Floats"]


@dataclass(frozen=True, eq=False, slots=True)
class _Leg:
    """What one leg asks of the path at some grid samples; arrays of shape (k,), but vectors (k, 3).

    Parameters
    ----------
    samples : ndarray
    design : sparse array, shape (k, coefficients)
    from_ankle_m : ndarray
        The way from the ankle joint to the hip joint, as if the middle of the hips were at the origin.
    span_m, spread_m : ndarray
        Distance from hip to ankle that is wished for, NaN where only the reach counts, and how far it may be missed.
    outward, tangent : ndarray
        At blade-offs of pushes: direction sideways from the body, and tangent of the leg's angle; zero elsewhere.
    """

    samples: NDArray[np.intp]
    design: csr_array
    from_ankle_m: Floats
    span_m: Floats
    spread_m: Floats
    length_m: float
    outward: Floats
    tangent: float

    def rows(self, path_m: Floats) -> list[Rows]:
        """Return the rows near a path given at the samples, shape (k, 3)."""
        line = path_m + self.from_ankle_m
        span = np.linalg.norm(line, axis=1)
        beyond, counts = _beyond_reach(span / self.length_m)
        wished = np.isfinite(self.span_m)
        counts = np.where(wished, 1.0, counts) / self.spread_m
        missing = np.where(wished, self.span_m - span, -beyond * self.length_m) / self.spread_m
        asked = counts * self.spread_m > COUNTS
        weight = (line * (counts / span)[:, None])[asked]
        spans = _along(self.design[asked], weight, path_m[asked], missing[asked])
        off = np.any(self.outward != 0, axis=1)
        outward, left = self.outward[off], line[off]
        missing = self.tangent * left[:, 2] - np.sum(outward * left, axis=1)
        return [spans, _along(self.design[off], outward / ASIDE_M, path_m[off], missing / ASIDE_M)]


def _beyond_reach(ratio: Floats) -> tuple[Floats, Floats]:
    """Return how far a span, as a share of the leg, is out of reach, set in softly, and its derivative."""
    over, under = ((ratio - LONGEST_RATIO) / SOFT_RATIO, (SHORTEST_RATIO - ratio) / SOFT_RATIO)
    beyond = SOFT_RATIO * (np.logaddexp(0, over) - np.logaddexp(0, under))
    return beyond, np.exp(-np.logaddexp(0, -over)) + np.exp(-np.logaddexp(0, -under))


def pelvis_path(
    figure: Figure, style: Style, motion: Motion, ankles_m: dict[str, Floats], hips_m: dict[str, Floats]
) -> Floats:
    """Return the middle of the hip joints on the grid [m], shape (n, 3), before sway.

    `ankles_m` are the ankle joints, `hips_m` the ways from the middle of the hips to each joint, by side.
    """
    from scipy.interpolate import BSpline

    count = len(motion.body.speed_m_s)
    end_s = (count - 1) / GRID_HZ
    inner = np.linspace(0, end_s, int(end_s / KNOT_S) + 2)
    knots = np.concatenate([np.zeros(5), inner, np.full(5, end_s)])
    style = _as_low_as_legs_allow(
        figure, style, motion, {side: hips_m[side] - ankles_m[side] for side in SIDES}
    )
    prior, spread = _prior(figure, style, motion, ankles_m)
    fixed = _fixed_rows(knots, np.arange(0, count, EVERY), prior, spread)
    legs = [_leg(figure, style, motion, side, knots, hips_m[side] - ankles_m[side]) for side in SIDES]
    paths = [prior[leg.samples] for leg in legs]
    for turn in range(TURNS):
        rows = [fixed] + [row for leg, path in zip(legs, paths, strict=True) for row in leg.rows(path)]
        coefficients = _solve(rows)
        share = 1.0 if turn < WHOLE_STEPS else SHORTER
        moved = [
            path + share * (leg.design @ coefficients - path) for leg, path in zip(legs, paths, strict=True)
        ]
        change = max(float(np.abs(new - old).max()) for new, old in zip(moved, paths, strict=True))
        paths = moved
        if change < SETTLED_M:
            break
    return np.asarray(BSpline(knots, coefficients, 5)(np.arange(count) / GRID_HZ))


def _as_low_as_legs_allow(
    figure: Figure, style: Style, motion: Motion, from_ankle_m: dict[str, Floats]
) -> Style:
    """Return the style with less bend in the glide where short pushes could not extend the leg from so low."""
    bends = []
    for push in motion.plan.pushes[DEEP_AFTER // 2 :]:
        lengths, off = figure.leg_m(push.side), round(push.off_s * GRID_HZ)
        away_m = motion.body.place_m[off] + from_ankle_m[push.side][off, :2]
        extended_m = float(span_ratio(np.radians(style.off_flexion_deg), lengths)) * sum(lengths)
        height_m = np.sqrt(max(extended_m**2 - away_m @ away_m, 0.0))
        bends.append(2 * np.degrees(np.arccos(min(height_m / sum(lengths), 1.0))))
    return replace(
        style, glide_flexion_deg=min(style.glide_flexion_deg, float(np.median(bends)) + DEEPER_DEG)
    )


def _leg(
    figure: Figure, style: Style, motion: Motion, side: str, knots: Floats, from_ankle_m: Floats
) -> _Leg:
    """Return what one leg asks for: bends in the glide and at blade-off, and reach at any time."""
    from scipy.interpolate import BSpline

    lengths = figure.leg_m(side)
    every = np.arange(0, len(from_ankle_m), EVERY)
    wished, flexion, spread, off = _wishes(style, motion, side)
    samples = np.concatenate([wished, every])
    span = np.full(len(samples), np.nan)
    span[: len(wished)] = span_ratio(np.radians(flexion), lengths) * sum(lengths)
    exact = np.concatenate([spread, np.full(len(every), REACH_RATIO)]) * sum(lengths)
    heading = motion.body.heading_rad[samples]
    aside = np.column_stack([np.sin(heading), -np.cos(heading), np.zeros(len(samples))])
    outward = OUTWARD_Y[side] * aside * np.concatenate([off, np.zeros(len(every))])[:, None]
    tangent = float(np.tan(np.radians(style.off_angle_deg)))
    design = BSpline.design_matrix(samples / GRID_HZ, knots, 5)
    return _Leg(samples, design, from_ankle_m[samples], span, exact, sum(lengths), outward, tangent)


def _wishes(style: Style, motion: Motion, side: str) -> tuple[NDArray[np.intp], Floats, Floats, Floats]:
    """Return grid samples, knee flexions wished for [deg], how exactly, and 1 at blade-offs of pushes."""
    right = -OUTWARD_Y[side] / 2
    off_deg = style.off_flexion_deg + right * style.extension_asymmetry_deg
    aimed_deg = style.glide_flexion_deg + right * style.knee_asymmetry_deg
    rows = []
    for contact in motion.plan.contacts[side]:
        if contact.order < 0:
            continue
        pushing = contact.kind == "push"
        rows.append(np.array([[contact.off_s * GRID_HZ, off_deg, OFF_RATIO, pushing]]))
        if pushing:
            deep = min(SHORTEST_FLEXION + (1 - SHORTEST_FLEXION) * contact.order / DEEP_AFTER, 1.0)
            glide = _glide_samples(contact)
            flexion_deg = off_deg + (aimed_deg - off_deg) * deep
            wish = np.broadcast_to((flexion_deg, GLIDE_RATIO, 0.0), (len(glide), 3))
            rows.append(np.column_stack([glide, wish]))
    samples, flexion, spread, off = np.vstack(rows).T
    return samples.round().astype(int), flexion, spread, off


def _glide_samples(contact: Contact) -> NDArray[np.intp]:
    """Return the grid samples of a contact in which the knee should be deep."""
    length_s = contact.off_s - contact.on_s
    first, last = contact.on_s + 0.2 * length_s, contact.on_s + 0.6 * length_s
    return np.arange(round(first * GRID_HZ), round(last * GRID_HZ), EVERY)


def _prior(
    figure: Figure, style: Style, motion: Motion, ankles_m: dict[str, Floats]
) -> tuple[Floats, Floats]:
    """Return the path wished for (n, 3) and how far it may be missed (n, 3)."""
    plan, body = motion.plan, motion.body
    samples = len(body.speed_m_s)
    free = Course(samples)  # 0 where the body stands over both feet
    start_s = begin_s(plan)
    free.move(start_s, start_s + 0.4, 1.0)
    free.move(plan.push_end_s + 0.1, plan.push_end_s + 0.9, -1.0)
    share = free.values()[:, None]
    middle = (ankles_m["left"] + ankles_m["right"]) / 2
    forward = np.column_stack([np.cos(body.heading_rad), np.sin(body.heading_rad)])
    back = Course(samples, 0.06)
    back.move_to(start_s, start_s + 0.5, style.hips_back_m)
    back.move_to(plan.push_end_s + 0.2, plan.push_end_s + 1.0, 0.06)
    level = (1 - share) * middle[:, :2] + share * body.place_m - back.values()[:, None] * forward
    height = middle[:, 2:].clip(max=0.2) * (1 - share) + 0.14 * share + _height(figure, style, plan, samples)
    spread = STILL_M + share * (np.array([SIDEWAYS_M, SIDEWAYS_M, UPRIGHT_M]) - STILL_M)
    return np.hstack([level, height]), spread


def _height(figure: Figure, style: Style, plan: Plan, samples: int) -> Floats:
    """Return the wished height of the hips over the ankles [m], shape (n, 1)."""
    lengths = figure.leg_m("left")

    def high(flexion_deg: float) -> float:
        return 0.985 * sum(lengths) * float(span_ratio(np.radians(flexion_deg), lengths))

    course = Course(samples, high(style.ready_flexion_deg))
    start_s = begin_s(plan)
    course.move_to(start_s, start_s + 2.0, high(style.glide_flexion_deg))
    course.move_to(plan.push_end_s + 0.1, plan.push_end_s + 1.2, high(style.coast_flexion_deg))
    course.move_to(plan.stop_s[1] - 0.5, plan.stop_s[1] + 0.3, high(0.6 * style.ready_flexion_deg))
    return course.values()[:, None]


def _fixed_rows(knots: Floats, coarse: NDArray[np.intp], prior: Floats, spread: Floats) -> Rows:
    """Return the rows of what does not depend on the path: its wished course and its smoothness."""
    from scipy.interpolate import BSpline
    from scipy.sparse import csr_array, diags_array, kron, vstack

    design = BSpline.design_matrix(coarse / GRID_HZ, knots, 5)
    third = BSpline(knots, np.eye(len(knots) - 6), 5).derivative(3)(coarse / GRID_HZ)
    smooth = kron(np.eye(3), csr_array(third / JERK_M_S3))
    kept = [kron(np.eye(3)[[axis]], diags_array(1 / spread[coarse, axis]) @ design) for axis in range(3)]
    wanted = (prior[coarse] / spread[coarse]).T.ravel()
    return csr_array(vstack([*kept, smooth])), np.concatenate([wanted, np.zeros(smooth.shape[0])])


def _along(design: csr_array, weights: Floats, path_m: Floats, missing: Floats) -> Rows:
    """Return rows that move the path at some samples along directions by what is missing."""
    from scipy.sparse import csr_array, diags_array, hstack

    rows = hstack([diags_array(weights[:, axis]) @ design for axis in range(3)])
    return csr_array(rows), missing + np.sum(weights * path_m, axis=1)


def _solve(rows: list[Rows]) -> Floats:
    """Return the coefficients (k, 3) of least squares."""
    from scipy.sparse import csc_array, vstack
    from scipy.sparse.linalg import splu

    matrix = vstack([part for part, _ in rows]).tocsr()
    wanted = np.concatenate([values for _, values in rows])
    normal = csc_array(matrix.T @ matrix)
    return np.asarray(splu(normal).solve(matrix.T @ wanted).reshape(3, -1).T)
