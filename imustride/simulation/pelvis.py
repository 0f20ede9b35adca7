"""The pelvis's path: as smooth as the legs allow, low in the glide, high enough and never too high for the legs.

The path is a quintic spline. Its coefficients are the least-squares compromise between smoothness, the body's
path the skates were made for, knee bends aimed at, the length of the leg at every blade-off, and the reach of
both legs at any time (Gauss-Newton; a leg counts as soon as it is too long or too short).
"""

from __future__ import annotations

from dataclasses import dataclass
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
TURNS = 14  # Gauss-Newton steps
LONGEST_RATIO, SHORTEST_RATIO = 0.987, 0.5
SHORTEST_FLEXION = 0.35  # share of the glide's bend at the first push, growing over `DEEP_AFTER` pushes
DEEP_AFTER = 6
# How much each wish may be missed [m, m/s^3, share of the leg].
SIDEWAYS_M, UPRIGHT_M, STILL_M, JERK_M_S3 = 0.09, 0.05, 0.004, 120.0
GLIDE_RATIO, OFF_RATIO, REACH_RATIO, ASIDE_M = 0.04, 0.0015, 0.0015, 0.05


@dataclass(frozen=True, eq=False, slots=True)
class _Wishes:
    """What one leg should span at some grid samples: target share of its length, and how exactly."""

    samples: NDArray[np.intp]
    ratio: Floats
    spread: Floats


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
    prior, spread = _prior(figure, style, motion, ankles_m)
    coarse = np.arange(0, count, EVERY)
    fixed = _fixed_rows(knots, coarse, prior, spread)
    wishes = {side: _wishes(figure, style, motion, side) for side in SIDES}
    from_ankle_m = {side: hips_m[side] - ankles_m[side] for side in SIDES}
    path_m = prior
    for _ in range(TURNS):
        rows = [fixed]
        for side in SIDES:
            line = path_m + from_ankle_m[side]
            rows.append(_leg_rows(knots, line, path_m, wishes[side], sum(figure.leg_m(side)), coarse))
            rows.append(_aside_rows(knots, line, path_m, style, motion, side))
        coefficients = _solve(rows)
        path_m = np.asarray(BSpline(knots, coefficients, 5)(np.arange(count) / GRID_HZ))
    return path_m


def _design(knots: Floats, samples: NDArray[np.intp]) -> csr_array:
    from scipy.interpolate import BSpline

    return BSpline.design_matrix(samples / GRID_HZ, knots, 5)


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


def _wishes(figure: Figure, style: Style, motion: Motion, side: str) -> _Wishes:
    """Return what one leg should span in its glides and at its blade-offs."""
    lengths = figure.leg_m(side)
    right = -OUTWARD_Y[side] / 2
    off_deg = style.off_flexion_deg + right * style.extension_asymmetry_deg
    samples, ratios, spreads = [], [], []
    for contact in motion.plan.contacts[side]:
        if contact.order < 0:
            continue
        off = round(contact.off_s * GRID_HZ)
        samples.append([off])
        ratios.append([float(span_ratio(np.radians(off_deg), lengths))])
        spreads.append([OFF_RATIO])
        if contact.kind == "push":
            glide = _glide_samples(contact)
            deep = min(SHORTEST_FLEXION + (1 - SHORTEST_FLEXION) * contact.order / DEEP_AFTER, 1.0)
            aimed = style.glide_flexion_deg + right * style.knee_asymmetry_deg
            flexion = off_deg + (aimed - off_deg) * deep
            samples.append(glide.tolist())
            ratios.append([float(span_ratio(np.radians(flexion), lengths))] * len(glide))
            spreads.append([GLIDE_RATIO] * len(glide))
    return _Wishes(np.concatenate(samples).astype(int), np.concatenate(ratios), np.concatenate(spreads))


def _glide_samples(contact: Contact) -> NDArray[np.intp]:
    """Return the grid samples of a contact in which the knee should be deep."""
    length_s = contact.off_s - contact.on_s
    first, last = contact.on_s + 0.2 * length_s, contact.on_s + 0.6 * length_s
    return np.arange(round(first * GRID_HZ), round(last * GRID_HZ), EVERY)


Rows = tuple["csr_array", "Floats"]


def _fixed_rows(knots: Floats, coarse: NDArray[np.intp], prior: Floats, spread: Floats) -> Rows:
    """Return the rows of what does not depend on the path: its wished course and its smoothness."""
    from scipy.interpolate import BSpline
    from scipy.sparse import csr_array, diags_array, kron, vstack

    design = _design(knots, coarse)
    count = len(knots) - 6
    third = np.nan_to_num(BSpline(knots, np.eye(count), 5).derivative(3)(coarse / GRID_HZ))
    smooth = kron(np.eye(3), csr_array(third / JERK_M_S3))
    kept = vstack([
        kron(np.eye(3)[[axis]], diags_array(1 / spread[coarse, axis]) @ design) for axis in range(3)
    ])  # fmt: skip
    wanted = (prior[coarse] / spread[coarse]).T.ravel()
    return csr_array(vstack([kept, smooth])), np.concatenate([wanted, np.zeros(smooth.shape[0])])


def _leg_rows(
    knots: Floats, line: Floats, path_m: Floats, wishes: _Wishes, length_m: float, coarse: NDArray[np.intp]
) -> Rows:
    """Return the rows of one leg's span: wished values, and its limits where they are passed."""
    ratio = np.linalg.norm(line[coarse], axis=1) / length_m
    beyond = (ratio > LONGEST_RATIO) | (ratio < SHORTEST_RATIO)
    limits = np.clip(ratio[beyond], SHORTEST_RATIO, LONGEST_RATIO)
    at = np.concatenate([wishes.samples, coarse[beyond]])
    wanted = np.concatenate([wishes.ratio, limits]) * length_m
    spread = np.concatenate([wishes.spread, np.full(len(limits), REACH_RATIO)]) * length_m
    span = np.linalg.norm(line[at], axis=1)
    direction = line[at] / span[:, None]
    return _along(knots, at, direction / spread[:, None], path_m, (wanted - span) / spread)


def _aside_rows(knots: Floats, line: Floats, path_m: Floats, style: Style, motion: Motion, side: str) -> Rows:
    """Return the rows of how far each blade is left beside the hip at blade-off."""
    at = np.array([round(c.off_s * GRID_HZ) for c in motion.plan.contacts[side] if c.kind == "push"])
    heading = motion.body.heading_rad[at]
    outward = -OUTWARD_Y[side] * np.column_stack([-np.sin(heading), np.cos(heading), np.zeros(len(at))])
    aside = np.sum(outward * line[at], axis=1)
    wanted = np.tan(np.radians(style.off_angle_deg)) * line[at, 2]
    return _along(knots, at, outward / ASIDE_M, path_m, (wanted - aside) / ASIDE_M)


def _along(knots: Floats, at: NDArray[np.intp], weights: Floats, path_m: Floats, missing: Floats) -> Rows:
    """Return rows that move the path at some samples along directions by what is missing."""
    from scipy.sparse import csr_array, diags_array, hstack

    design = _design(knots, at)
    rows = hstack([diags_array(weights[:, axis]) @ design for axis in range(3)])
    return csr_array(rows), missing + np.sum(weights * path_m[at], axis=1)


def _solve(rows: list[Rows]) -> Floats:
    """Return the coefficients (k, 3) of least squares."""
    from scipy.sparse import csc_array, vstack
    from scipy.sparse.linalg import splu

    matrix = vstack([part for part, _ in rows]).tocsr()
    wanted = np.concatenate([values for _, values in rows])
    normal = csc_array(matrix.T @ matrix)
    return np.asarray(splu(normal).solve(matrix.T @ wanted).reshape(3, -1).T)
