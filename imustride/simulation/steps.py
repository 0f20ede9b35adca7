"""What each contact of each foot shall look like, so that both feet stay under one body."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.timing import SIDES, Contact
from imustride.simulation.transitions import Shape, sample

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.simulation.body import Body
    from imustride.simulation.drawing import Draw
    from imustride.simulation.timing import Plan

    Floats = NDArray[np.float64]

OUTWARD = {"left": 1.0, "right": -1.0}  # sign of the earth's y axis away from the body
FASTEST_SWING_M_S = 2.4  # mean speed of the swinging foot relative to the body
FASTEST_SLAP_DEG_S = 450.0
PIVOT_ORDERS = 4  # pushes that may pivot on the toe
HARDEST_LANDING_M_S = 0.8
DEEPEST_STOP_M = 0.005  # landing speed times stopping time: twice the way the blade gives


@dataclass(frozen=True, eq=False, slots=True)
class Step:
    """One contact in detail; angles in radians, edge towards the inside, turn outward.

    `glide_m_s` is the mean speed along the blade, `place_m` where the middle of the running edge
    lies at blade-on (earth, horizontal). Rise and lean belong to the end of the contact, landing
    to its begin, lift and bend to the swing after it.
    """

    contact: Contact
    place_m: Floats
    heading_rad: float
    glide_m_s: float
    glide_slope: float
    turn_rad: tuple[float, float]
    pitch_rad: tuple[float, float]  # at landing, then flat
    settle_s: tuple[float, float]  # delay, duration
    rise_rad: float
    rise_s: tuple[float, float]
    edge_rad: tuple[float, float]  # at landing, greatest
    lean_s: tuple[float, float]
    landing_m_s: float
    landing_s: float
    jolt_m_s: tuple[float, float]  # along and across the blade, lost in the landing
    skid_m_s: float
    chatter_m_s: float
    lift_m: float
    lift_powers: tuple[float, float]
    lift_quick_ratio: float
    bend_m: float
    pivots: bool


def rise_shape(draw: Draw) -> Shape:
    """Return the athlete's own course of the heel rise."""
    return Shape(draw.skater.profile_skew, draw.skater.profile_sharpness_ratio)


def steps(draw: Draw, plan: Plan, body: Body) -> dict[str, tuple[Step, ...]]:
    """Detail every contact of both feet."""
    rng = np.random.default_rng([draw.seed, 60, draw.run])
    near = _within_swing(draw, plan)
    return {
        side: tuple(_step(near, plan, body, contact, rng) for contact in plan.contacts[side])
        for side in SIDES
    }


def _within_swing(draw: Draw, plan: Plan) -> Draw:
    """Shorten the foot's way around the body to what the shortest swing of the sprint allows."""
    swings = [
        following.on_s - contact.off_s
        for side in SIDES
        for contact, following in pairwise(plan.contacts[side])
        if contact.kind == "push"
    ]
    skater = draw.skater
    way = np.hypot(skater.land_ahead_m + skater.leave_behind_m, skater.reach_m - skater.land_beside_m)
    share = min(1.0, FASTEST_SWING_M_S * min(swings) / float(way))
    nearer = {
        name: getattr(skater, name) * share
        for name in ("land_ahead_m", "leave_behind_m", "reach_m", "land_beside_m")
    }
    return replace(draw, skater=replace(skater, **nearer))


def _step(draw: Draw, plan: Plan, body: Body, contact: Contact, rng: np.random.Generator) -> Step:
    skater = draw.skater
    place = _place(draw, body, contact, rng)
    heading = float(body.heading_rad[_clamped(contact.on_s, body)])
    glide_m_s, turn = _running(draw, body, contact, place, rng)
    pivots = skater.toe_pivot and 0 <= contact.order < PIVOT_ORDERS
    pitch, settle = _landing_pitch(draw, contact, rng, pivots=pivots)
    rise, rise_s = _rise(draw, plan, contact, rng)
    edge, lean_s = _edge(draw, plan, contact, rng)
    landing = min(skater.landing_speed_m_s * float(np.exp(0.25 * rng.normal())), HARDEST_LANDING_M_S)
    landing_s = min(skater.landing_time_s, DEEPEST_STOP_M / landing)
    jolt = rng.normal(size=2) * (0.4 * landing + 0.02, 0.25 * landing + 0.01)
    pushing = contact.kind == "push"
    share = float(rng.uniform(0.2, 1.0))
    chatters = pushing and rng.random() < 0.7
    small = contact.kind == "stance"
    return Step(
        contact=contact,
        place_m=place,
        heading_rad=heading,
        glide_m_s=glide_m_s,
        glide_slope=float(rng.uniform(-0.12, 0.08)),
        turn_rad=turn,
        pitch_rad=pitch,
        settle_s=settle,
        rise_rad=rise,
        rise_s=rise_s,
        edge_rad=edge,
        lean_s=lean_s,
        landing_m_s=landing,
        landing_s=landing_s,
        jolt_m_s=(float(jolt[0]), float(jolt[1])),
        skid_m_s=draw.conditions.skid_m_s * share if pushing else 0.0,
        chatter_m_s=draw.conditions.chatter_m_s * share if chatters else 0.0,
        lift_m=float(rng.uniform(0.01, 0.04)) if small else skater.lift_m * _varied(rng, 0.12),
        lift_powers=(3 + max(0.0, -0.6 * skater.lift_skew), 3 + max(0.0, skater.lift_skew)),
        lift_quick_ratio=skater.lift_quick_ratio,
        bend_m=0.0 if small else float(rng.normal(0, 0.05)),
        pivots=pivots,
    )


def _clamped(time_s: float, body: Body) -> int:
    return min(sample(time_s), len(body.speed_m_s) - 1)


def _varied(rng: np.random.Generator, ratio: float) -> float:
    return float(np.clip(1 + ratio * rng.normal(), 0.5, 1.6))


def _turned(vector: Floats, angle: float) -> Floats:
    cos, sin = np.cos(angle), np.sin(angle)
    return np.array([cos * vector[0] - sin * vector[1], sin * vector[0] + cos * vector[1]])


def _place(draw: Draw, body: Body, contact: Contact, rng: np.random.Generator) -> Floats:
    """Return where the blade meets the ice."""
    skater, outward = draw.skater, OUTWARD[contact.side]
    if contact.kind in ("stance", "standing"):
        spread = np.zeros(2) if contact.kind == "standing" else rng.normal(0, 0.05, 2)
        return np.array([0.0, outward * skater.stance_width_m / 2]) + spread
    i = _clamped(contact.on_s, body)
    beside = skater.land_beside_m if contact.kind == "push" else 0.12 + skater.land_beside_m / 3
    ahead = skater.land_ahead_m * _varied(rng, 0.15)
    offset = np.array([ahead, outward * (beside + 0.02 * rng.normal())])
    return np.asarray(body.place_m[i] + _turned(offset, body.heading_rad[i]))


def _running(
    draw: Draw, body: Body, contact: Contact, place: Floats, rng: np.random.Generator
) -> tuple[float, tuple[float, float]]:
    """Return speed along the blade and running direction that leave the foot within reach at blade-off."""
    skater, outward = draw.skater, OUTWARD[contact.side]
    toe_out = np.radians(skater.toe_out_left_deg if contact.side == "left" else skater.toe_out_right_deg)
    widest = np.radians(skater.start_turn_deg) * _varied(rng, 0.06)
    if contact.kind == "stance":
        return 0.0, (float(toe_out + 0.1 * rng.normal()),) * 2
    if contact.kind == "standing":
        return 0.0, (float(toe_out), float(max(widest * 0.9, toe_out)))
    if contact.kind == "glide":
        aside = float(rng.uniform(-0.004, 0.004))  # a few centimetres in the whole glide
        return 0.0, (aside, aside - float(np.radians(draw.conditions.plough_deg)))
    on, off = _clamped(contact.on_s, body), _clamped(contact.off_s, body)
    behind = -skater.leave_behind_m * _varied(rng, 0.12)
    beside = outward * skater.reach_m * _varied(rng, 0.08)
    heading = float(body.heading_rad[(on + off) // 2])
    leave = body.place_m[off] + _turned(np.array([behind, beside]), body.heading_rad[off])
    ahead, aside = _turned(leave - place, -heading)
    turn = float(np.clip(np.arctan2(outward * aside, max(ahead, 0.05)), np.radians(3), widest))
    speed = max(float(ahead), 0.0) / ((contact.off_s - contact.on_s) * np.cos(turn))
    change = np.radians(skater.turn_change_deg) * _varied(rng, 0.3)
    return float(speed), (turn - float(change) / 2, turn + float(change) / 2)


def _landing_pitch(
    draw: Draw,
    contact: Contact,
    rng: np.random.Generator,
    *,
    pivots: bool,
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return pitch at landing and flat, and delay and duration of settling; a slap is short."""
    skater = draw.skater
    if contact.kind in ("stance", "standing"):
        pitch = float(np.radians(skater.stance_pitch_deg))
        return (pitch, pitch), (0.0, 0.1)
    flat = float(rng.uniform(8, 20)) if pivots else skater.flat_pitch_deg
    land = skater.land_pitch_deg + 1.5 * float(rng.normal())
    land = min(land, -5.0) if skater.slap else land
    land = max(land, flat - 4.0) if pivots else land
    duration = skater.slap_time_s if skater.slap else float(rng.uniform(0.1, 0.22))
    duration = max(duration * _varied(rng, 0.1), 1.875 * abs(flat - land) / FASTEST_SLAP_DEG_S)
    delay = float(rng.uniform(0.0, 0.012))
    return (float(np.radians(land)), float(np.radians(flat))), (delay, duration)


def _rise(
    draw: Draw, plan: Plan, contact: Contact, rng: np.random.Generator
) -> tuple[float, tuple[float, float]]:
    """Return how far the heel rises around blade-off and from when to when."""
    skater = draw.skater
    if contact.order < 0:
        return float(np.radians(rng.uniform(3, 12))), (contact.off_s - 0.1, contact.off_s + 0.1)
    following = [other.on_s for other in plan.contacts[contact.side] if other.on_s > contact.off_s]
    swing_s = following[0] - contact.off_s
    u = np.linspace(0, 1, 201)
    steepest = float(np.max(np.diff(rise_shape(draw).course(u)))) * 200
    duration = skater.rise_time_s * _varied(rng, skater.variation_ratio / 2) * min(1.0, swing_s / 0.25)
    rate = skater.pitch_rate_deg_s * _varied(rng, skater.variation_ratio)
    rate *= 1 + OUTWARD[contact.side] * -skater.rate_asymmetry_percent / 200
    rate *= 0.7 if contact.order == 0 else 1.0
    centre = contact.off_s + skater.rise_lead_s + 0.004 * float(rng.normal())
    return float(np.radians(rate)) * duration / steepest, (centre - duration / 2, centre + duration / 2)


def _edge(
    draw: Draw, plan: Plan, contact: Contact, rng: np.random.Generator
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return edge at landing and greatest edge, and from when to when the leg leans over."""
    skater = draw.skater
    stance = float(np.radians(skater.stance_roll_deg))
    if contact.kind == "stance":
        return (stance, stance), (contact.off_s - 0.1, contact.off_s)
    if contact.kind == "glide":
        edge = float(np.radians(rng.uniform(-2, 4) + draw.conditions.plough_deg * 0.6))
        return (edge, edge), (contact.on_s, contact.on_s + 0.3)
    greatest = skater.edge_push_deg * _varied(rng, skater.variation_ratio)
    greatest *= 1 - OUTWARD[contact.side] * skater.edge_asymmetry_percent / 200
    land = skater.edge_land_deg + 1.5 * float(rng.normal())
    begin_s = max(contact.on_s, contact.off_s - 0.6, plan.stance_s[1])
    from_s = begin_s + float(rng.uniform(0.0, 0.4)) * (contact.off_s - begin_s)
    to_s = contact.off_s + skater.edge_lead_s + 0.005 * float(rng.normal())
    return (float(np.radians(land)), float(np.radians(greatest))), (from_s, to_s)
