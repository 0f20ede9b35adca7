"""Pelvis and legs of a run: the leg that carries sets the height, the feet stay where the skates are."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import maximum_filter1d, minimum_filter1d, uniform_filter1d

from tests.generators.build import OUT, SIDES, STRAIGHTEST, Build, Leg, bend, flexed_rad, span_m
from tests.generators.shapes import GRID_HZ, Course, integral, step
from tests.generators.turns import about

if TYPE_CHECKING:
    from tests.generators.body import Body
    from tests.generators.build import Habits
    from tests.generators.motion import Motion
    from tests.generators.plan import Plan, Stance
    from tests.generators.shapes import Array

SWAY_M_S2 = 8.0  # sideways acceleration that the sway stays below
TETHER = 0.72  # share of the straight leg that an ankle is kept within, seen from above


def soft(x: Array, width_s: float) -> Array:
    """Smooth over some `width_s`, along the first axis, in no direction of time."""
    width = int(width_s * GRID_HZ / 3.0) | 1
    for _ in range(3):
        x = uniform_filter1d(x, width, axis=0, mode="nearest")
    return x


@dataclass(frozen=True, eq=False)
class Rhythm:
    """Phase that passes k pi about the k-th blade-off, how much of it is swung, and the first push's side."""

    phase_rad: Array
    rate_rad_s: Array
    size: Array
    sign: float

    def swing(self, lag_rad: float | Array, even: float, odd: float, turn: float) -> Array:
        """Swing of about unit size, largest about the blade-offs on the left, with uneven way there and back.

        `even` and `odd` are the sizes of the second and third harmonic, `turn` [rad] shifts them.
        """
        p = self.phase_rad - lag_rad
        course: Array = np.cos(p) + odd * np.cos(3.0 * p + turn)
        return self.size * (self.sign * course + even * np.cos(2.0 * p + turn))


def make_rhythm(plan: Plan) -> Rhythm:
    """Rhythm of the blade-offs."""
    offs = np.array([s.off_s for s in plan.stances[:-2]])
    t = np.arange(int(plan.end_s * GRID_HZ) + 1) / GRID_HZ
    which = np.clip(np.searchsorted(offs, t) - 1, 0, len(offs) - 2)
    rate = soft(np.pi / np.diff(offs)[which], 0.3)
    phase = integral(rate)
    phase -= phase[int(offs[0] * GRID_HZ)]
    first = max(offs[0] - plan.start_s, 0.25)
    size = step((t - offs[0] + first) / (2.0 * first)) - step((t - plan.pushes_end_s - 0.1) / 1.2)
    return Rhythm(phase, rate, size, OUT[plan.stances[0].side])


@dataclass(frozen=True, eq=False)
class Lower:
    """Pelvis (midpoint of the hips, yaw, earth_from_segment) and legs by side on the fine grid."""

    pelvis_m: Array
    yaw_rad: Array
    pelvis: Array
    legs: dict[str, Leg]


def move_lower(
    h: Habits, build: Build, plan: Plan, body: Body, motions: dict[str, Motion], rhythm: Rhythm, rng: np.random.Generator
) -> Lower:  # fmt: skip
    """Move pelvis and legs.

    Raises
    ------
    ValueError
        If the feet go where these legs do not reach.
    """
    ankles = {s: m.place_m + m.earth_from_segment @ np.array(build.ankle_m) for s, m in motions.items()}
    calm = {side: soft(ankle, 0.15) for side, ankle in ankles.items()}
    yaw, pelvis = turn_pelvis(h, plan, body, rhythm, rng)
    across = {side: OUT[side] * build.hip_half_m * pelvis[:, :, 1] for side in SIDES}
    flat = over_the_ice(h, build, plan, body, calm, rhythm, rng)
    flat = tether(build, flat, calm, across)
    high = height(h, build, plan, flat, calm, across, rng)
    place = np.column_stack([flat, high])
    for _ in range(4):
        place[:, 2] -= too_high(build, place, ankles, across)
    legs = {}
    for side in SIDES:
        hip = place + across[side]
        reach = np.linalg.norm(hip - ankles[side], axis=1)
        if reach.max() > 0.999 * build.leg_m:
            message = f"the {side} foot is {reach.max():.2f} m from the hip; a leg of {build.leg_m:.2f} m is too short"
            raise ValueError(message)
        knees = aim_knee(h, plan, motions[side], yaw, OUT[side])
        legs[side] = bend(build, ankles[side], hip, knees, flexed_rad(build, reach))
    return Lower(place, yaw, pelvis, legs)


def turn_pelvis(
    h: Habits, plan: Plan, body: Body, rhythm: Rhythm, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Yaw and earth_from_segment of the pelvis: turns and lists with the pushes, tilts forward when skating."""
    swings = [rhythm.swing(rng.uniform(-0.6, 0.6), *draw_harmonics(rng)) for _ in range(3)]
    turns = np.radians(h["pelvis_turn_deg"]) * (1.0 + wander(plan, 0.1, rng))
    yaw = body.heading_rad + turns * swings[0]
    lists = -np.radians(h["pelvis_list_deg"]) * (1.0 + wander(plan, 0.1, rng)) * swings[1]
    tilt = np.radians(h["pelvis_tilt_deg"]) * (0.5 + 0.5 * skating(plan)) + np.radians(1.5) * swings[2] ** 2
    pelvis = about(2, yaw + standing_sway(plan, rng)) @ about(0, lists + standing_sway(plan, rng))
    return yaw, pelvis @ about(1, tilt + standing_sway(plan, rng))


def draw_harmonics(rng: np.random.Generator) -> tuple[float, float, float]:
    """Second and third harmonic and their shift, for `Rhythm.swing`."""
    return rng.uniform(-0.15, 0.15), rng.uniform(-0.1, 0.1), rng.uniform(-np.pi, np.pi)


def wander(plan: Plan, size: float, rng: np.random.Generator) -> Array:
    """Course about zero of standard deviation `size` that changes from push to push."""
    t = np.arange(int(plan.end_s * GRID_HZ) + 1) / GRID_HZ
    waves = [np.sin(2.0 * np.pi * (hz * t + rng.random())) for hz in rng.uniform(0.15, 0.9, 3)]
    total: Array = size * np.sqrt(2.0 / 3.0) * np.sum(waves, axis=0)
    return total


def skating(plan: Plan) -> Array:
    """1 while skating, 0 in the stances before and after."""
    t = np.arange(int(plan.end_s * GRID_HZ) + 1) / GRID_HZ
    return step((t - plan.start_s) / 1.2) - step((t - plan.brake_s[0]) / (plan.brake_s[1] - plan.brake_s[0]))


def standing_sway(plan: Plan, rng: np.random.Generator) -> Array:
    """Slow sway of a few tenths of a degree [rad]."""
    t = np.arange(int(plan.end_s * GRID_HZ) + 1) / GRID_HZ
    waves = [np.sin(2.0 * np.pi * (hz * t + rng.random())) for hz in rng.uniform(0.1, 0.6, 3)]
    total: Array = np.radians(0.1) * np.sum(waves, axis=0)
    return total


def at_stances(plan: Plan, places: dict[str, Array], body: Body, share: float) -> Array:
    """Where the foot is, ahead of the body and outward, at a share of each whole contact, shape (contacts, 2)."""
    rows = []
    for c in plan.stances[2:-2]:
        k = int((c.on_s + share * (c.off_s - c.on_s)) * GRID_HZ)
        x, y = places[c.side][k, :2] - body.place_m[k]
        cos, sin = np.cos(body.heading_rad[k]), np.sin(body.heading_rad[k])
        rows.append((x * cos + y * sin, OUT[c.side] * (y * cos - x * sin)))
    return np.array(rows)


def over_the_ice(
    h: Habits, build: Build, plan: Plan, body: Body, ankles: dict[str, Array], rhythm: Rhythm, rng: np.random.Generator
) -> Array:  # fmt: skip
    """Place of the pelvis seen from above (n, 2): with the body, swaying away from the foot that leaves the ice."""
    middle, last = at_stances(plan, ankles, body, 0.5), at_stances(plan, ankles, body, 1.0)
    ahead = float(np.median(middle[:, 0])) + h["hip_ahead_m"]
    back, outward = ahead - float(np.median(last[:, 0])), float(np.median(last[:, 1]))
    leg = float(span_m(build, np.radians(h["off_flexion_deg"])))
    down = np.sqrt(max(leg**2 - back**2, 0.1)) * np.cos(np.radians(h["leg_angle_deg"]))
    lag = np.radians(h["sway_lag_deg"])
    missing = down * np.tan(np.radians(h["leg_angle_deg"])) - outward + build.hip_half_m
    limit = SWAY_M_S2 / rhythm.rate_rad_s**2
    size = np.minimum(np.clip(missing / np.cos(lag), 0.02, 0.17), soft(limit, 0.5))
    aside = -soft(size, 0.4) * rhythm.swing(lag, *draw_harmonics(rng))
    start = 0.5 * (ankles["left"][:, :2] + ankles["right"][:, :2])[: int(plan.quiet_s[1] * GRID_HZ)].mean(
        axis=0
    )
    moved = step((np.arange(len(aside)) / GRID_HZ - plan.start_s) / 1.0)
    forward = float(start[0]) - 0.02 + (ahead - float(start[0]) + 0.02) * moved
    cos, sin = np.cos(body.heading_rad), np.sin(body.heading_rad)
    across = aside + (1.0 - moved) * float(start[1])
    return body.place_m + np.column_stack([forward * cos - across * sin, forward * sin + across * cos])


def tether(build: Build, flat: Array, ankles: dict[str, Array], across: dict[str, Array]) -> Array:
    """Pull the pelvis softly towards a foot that it would lose."""
    give, pulled = 0.04, flat
    for _ in range(20):
        for side in SIDES:
            away = pulled + across[side][:, :2] - ankles[side][:, :2]
            far = np.sqrt(np.sum(away**2, axis=1) + 1e-4)
            over = give * np.logaddexp(0.0, (far - TETHER * build.leg_m) / give)
            pulled = pulled - 0.5 * (over / far)[:, None] * away
    return flat + soft(pulled - flat, 0.55)


def height(
    h: Habits, build: Build, plan: Plan, flat: Array, ankles: dict[str, Array], across: dict[str, Array], rng: np.random.Generator
) -> Array:  # fmt: skip
    """Height of the pelvis: that at which the leading leg has its drawn length, within the reach of both."""
    share = lead(plan)
    away = {side: np.sum((flat + across[side][:, :2] - ankles[side][:, :2]) ** 2, axis=1) for side in SIDES}
    h = h | match_depth(h, build, plan, away)
    wanted, caps = np.zeros(len(flat)), []
    for side in SIDES:
        base = ankles[side][:, 2] - across[side][:, 2]
        tall = span_m(build, draw_flexion(h, plan, side, rng)) ** 2 - away[side]
        weight = share if side == "left" else 1.0 - share
        wanted += weight * (base + np.sqrt(rectified(tall, 0.05)))
        reach = base + np.sqrt(rectified((0.978 * build.leg_m) ** 2 - away[side], 0.05))
        caps.append(minimum_filter1d(reach, int(0.12 * GRID_HZ) | 1))
    wanted = soft(wanted, 0.3)
    give = 0.01
    least = np.min([wanted, *caps], axis=0)
    spread = sum(np.exp(-(one - least) / give) for one in (wanted, *caps))
    return soft(np.asarray(least - give * np.log(spread)), 0.26)


def match_depth(h: Habits, build: Build, plan: Plan, away_m2: dict[str, Array]) -> Habits:
    """Depth of the glide, then extension at blade-off, changed so that the hips go up and down little.

    Both stay within what is drawn: 64 to 98 and 15 to 35 degrees.
    """
    glides, offs = [], []
    for c in plan.stances[2:-2]:
        glides.append(away_m2[c.side][int((0.5 * c.on_s + 0.5 * c.off_s) * GRID_HZ)])
        offs.append(away_m2[c.side][int(c.off_s * GRID_HZ)])
    glide, off = float(np.median(glides)), float(np.median(offs))
    longest = span_m(build, np.radians(h["off_flexion_deg"])) ** 2 - off
    wanted = np.sqrt(np.clip(longest + glide, span_m(build, np.pi / 1.7) ** 2, build.leg_m**2))
    deep = float(np.clip(np.degrees(flexed_rad(build, wanted)) + 6.0, 64.0, 98.0))
    deep = 0.5 * deep + 0.5 * h["glide_flexion_deg"]
    rest = span_m(build, np.radians(deep)) ** 2 - glide + off
    wanted = np.sqrt(np.clip(rest, 0.5 * build.leg_m**2, build.leg_m**2))
    short = float(np.clip(np.degrees(flexed_rad(build, wanted)), 15.0, 33.0))
    return {"glide_flexion_deg": deep, "off_flexion_deg": 0.25 * short + 0.75 * h["off_flexion_deg"]}


def rectified(x: Array, give: float) -> Array:
    """Return x where it is well above zero, fading to a little above zero below it; smooth."""
    return np.asarray(0.5 * (x + np.sqrt(x * x + give * give)) + 0.02)


def lead(plan: Plan) -> Array:
    """Share of the left leg in setting the height: all of it from the right blade-off to its own."""
    left = Course(int(plan.end_s * GRID_HZ) + 1, 0.5)
    now, pushes = 0.5, plan.stances[:-2]
    for c, following in itertools.pairwise(pushes):
        to = 1.0 if following.side == "left" else 0.0
        begin = c.off_s if c.order else plan.start_s
        left.add_step(begin, c.off_s + 0.45 * (following.off_s - c.off_s), to - now)
        now = to
    last = plan.stances[-2]
    to = 1.0 if last.side == "left" else 0.0
    left.add_step(pushes[-1].off_s, pushes[-1].off_s + 0.25, to - now)
    left.add_step(plan.stances[-1].on_s, plan.stances[-1].on_s + 0.4, 0.5 - to)
    return left.value


def draw_flexion(h: Habits, plan: Plan, side: str, rng: np.random.Generator) -> Array:
    """Knee flexion that the leg aims at [rad]: deep in the glide, extending with a bell of speed in the push."""
    course = Course(int(plan.end_s * GRID_HZ) + 1, np.radians(h["ready_flexion_deg"]))
    own = plan.of_side(side)
    own_deg = 0.5 * OUT[side] * h["flexion_difference_deg"]
    level = np.radians(h["ready_flexion_deg"])
    for c, following in itertools.pairwise(own):
        level = _push(h, plan, course, c, level, own_deg, rng)
        land = np.radians(h["landing_flexion_deg"] + 3.0 * rng.normal())
        course.add_step(c.off_s + 0.04, following.on_s, land - level)
        level = land
    rest = np.radians(rng.uniform(30.0, 50.0))
    course.add_step(own[-1].on_s + 0.1, own[-1].on_s + 1.0, rest - level)
    stand = np.radians(rng.uniform(20.0, 40.0))
    course.add_step(plan.brake_s[1] - 0.3, plan.brake_s[1] + 0.7, stand - rest)
    return course.value


def _push(
    h: Habits, plan: Plan, course: Course, c: Stance, level: float, own_deg: float, rng: np.random.Generator
) -> float:
    """Add deepening and extension of one contact; return the flexion it ends with."""
    on = max(c.on_s, plan.start_s)
    extends = c.off_s - h["extension_share"] * rng.uniform(0.85, 1.15) * (c.off_s - on)
    deep = np.radians(h["glide_flexion_deg"] + own_deg + 2.0 * rng.normal())
    end = np.radians(h["off_flexion_deg"] - own_deg + 2.0 * rng.normal())
    if c.order == 0:  # only lifted
        deep = end = np.radians(h["ready_flexion_deg"])
    course.add_step(on, on + 0.8 * (extends - on), deep - level)
    course.add_step(extends, c.off_s + 0.03, end - deep, "sine", rng.uniform(-0.5, 0.1))
    return float(end)


def too_high(build: Build, place: Array, ankles: dict[str, Array], across: dict[str, Array]) -> Array:
    """By how much the pelvis must come down for both legs to reach, as a smooth course [m]."""
    most = np.zeros(len(place))
    for side in SIDES:
        line = place + across[side] - ankles[side]
        room = (STRAIGHTEST * build.leg_m) ** 2 - np.sum(line[:, :2] ** 2, axis=1)
        most = np.maximum(most, line[:, 2] - np.sqrt(np.maximum(room, 1e-3)))
    return soft(maximum_filter1d(most, int(0.45 * GRID_HZ) | 1), 0.43) if most.max() > 0.0 else most


def aim_knee(h: Habits, plan: Plan, motion: Motion, yaw: Array, out: float) -> Array:
    """Azimuth that the knee points to [rad]: turned in the hip after the skate, softly."""
    turn = motion.earth_from_segment
    skate = np.unwrap(np.arctan2(turn[:, 1, 0], turn[:, 0, 0]))
    follows = h["hip_follow"] * soft(skate - yaw, 0.15)
    knees: Array = yaw + follows + out * np.radians(h["knee_out_deg"]) * (0.5 + 0.5 * skating(plan))
    return knees
