"""Sensors worn on the body: where they sit, what they feel, their devices."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.signal import bilinear, lfilter

from tests.generators.build import PLACES, SIDES
from tests.generators.device import fit_unit
from tests.generators.ice import Felt
from tests.generators.shapes import GRID_HZ, derivative
from tests.generators.turns import body_rate, specific_force

if TYPE_CHECKING:
    from tests.generators.build import Build, Habits, Leg
    from tests.generators.device import Unit
    from tests.generators.factors import Factors
    from tests.generators.shapes import Array
    from tests.generators.upper import Upper

# Share of the vertical acceleration of the ankle about the heels' shocks, and how much later [s]; the shank has its own.
SHOCKS = {"thigh": (0.3, 0.003), "pelvis": (0.15, 0.005), "trunk": (0.08, 0.007), "head": (0.04, 0.010), "wrist": (0.04, 0.010)}  # fmt: skip
SHOCK_HZ = 22.0  # of soft tissue: common practice, no source


@dataclass(frozen=True, eq=False)
class Segment:
    """One segment on the fine grid: earth_from_segment (n, 3, 3) and the sensor's place (n, 3) [m]."""

    turn: Array
    place_m: Array


def kind_of(place: str) -> str:
    """Segment without its side."""
    return place.rsplit("_", maxsplit=1)[-1]


def draw_seats(build: Build, rng: np.random.Generator) -> dict[str, Array]:
    """Where each sensor sits in its segment's frame [m], from the joint named in `segments`."""
    seats = {}
    for place in PLACES:
        out = -1.0 if place.startswith("right") else 1.0
        u = rng.uniform
        seats[place] = np.array({
            "shank": (u(0.02, 0.06), out * u(-0.02, 0.04), u(0.45, 0.8) * build.shank_m),
            "thigh": (u(0.03, 0.09), out * u(0.0, 0.08), u(0.3, 0.6) * build.thigh_m),
            "wrist": (u(-0.03, 0.03), out * u(-0.03, 0.03), u(0.01, 0.05)),
            "pelvis": (u(-0.13, -0.09), u(-0.02, 0.02), u(0.0, 0.06)),
            "trunk": (u(0.08, 0.12) * rng.choice([-1.0, 1.0]), u(-0.02, 0.02), u(0.15, 0.2) * build.height_m),
            "head": (u(-0.1, -0.05), u(-0.03, 0.03), u(0.12, 0.2)),
        }[kind_of(place)])  # fmt: skip
    return seats


def segments(legs: dict[str, Leg], pelvis_m: Array, pelvis: Array, upper: Upper, seats: dict[str, Array]) -> dict[str, Segment]:  # fmt: skip
    """Every place of the body: shank from the ankle, thigh from the knee, forearm from the wrist, trunk from its foot."""
    parts = {"pelvis": (pelvis, pelvis_m), "trunk": (upper.trunk, upper.lumbar_m), "head": (upper.head, upper.neck_m)}  # fmt: skip
    for side in SIDES:
        leg = legs[side]
        parts[f"{side}_shank"] = (leg.shank, leg.ankle_m)
        parts[f"{side}_thigh"] = (leg.thigh, leg.knee_m)
        parts[f"{side}_wrist"] = (upper.forearms[side], upper.wrists_m[side])
    return {place: Segment(turn, joint + turn @ seats[place]) for place, (turn, joint) in parts.items()}


def fit_body(f: Factors, place: str, seat: Array, rng: np.random.Generator) -> Unit:
    """Draw the sensor of one place: mounted anyhow, with nothing declared of how it sits."""
    side = "right" if place.startswith("right") else "left"
    fitted = fit_unit(f | {"mounting": "any"}, side, rng)
    sensor = fitted.sensor.model_copy(update={"place": place, "position_m": None, "mount": None})
    return replace(fitted, sensor=sensor, lever_m=seat)


def rate_of(h: Habits, f: Factors, place: str) -> float:
    """Sampling rate of a place [Hz]: as overridden for all or for this one, else that of the skates."""
    wanted: Any = h["body_rate_hz"]
    if isinstance(wanted, dict):
        wanted = wanted.get(place)
    return float(wanted if wanted is not None else f["rate_hz"])


def wobbled(segment: Segment, size_rad: float, active: Array, rng: np.random.Generator) -> Segment:
    """Turn the sensor's axes in its seat as soft tissue does over the bone while something moves.

    By a rotation vector that is a sum of sines of 0.4 to 5 Hz, of largest length `size_rad`.
    """
    if size_rad == 0.0:
        return segment
    t = np.arange(len(active)) / GRID_HZ
    rotvec = np.zeros((len(t), 3))
    for axis in range(3):
        for hz in rng.uniform(0.4, 5.0, 4):
            rotvec[:, axis] += rng.uniform(0.3, 1.0) * np.sin(2.0 * np.pi * (hz * t + rng.random()))
    rotvec *= active[:, None]
    rotvec *= size_rad / np.linalg.norm(rotvec, axis=1).max()
    angle = np.linalg.norm(rotvec, axis=1)
    far = np.sinc(angle / np.pi)[:, None]
    half = (0.5 * np.sinc(angle / (2.0 * np.pi)) ** 2)[:, None, None]
    cross = np.zeros((len(angle), 3, 3))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        cross[:, k, j], cross[:, j, k] = rotvec[:, i], -rotvec[:, i]
    turned = np.eye(3) + far[:, :, None] * cross + half * (cross @ cross)
    return Segment(segment.turn @ turned, segment.place_m)


def shock(ankles: dict[str, Array], place: str) -> Array:
    """Vertical acceleration (n,) [m/s^2] of the heels' shocks that soft tissue lets through to a place."""
    if kind_of(place) not in SHOCKS:
        return np.zeros(len(ankles["left"]))
    share, later_s = SHOCKS[kind_of(place)]
    sides = [side for side in SIDES if place.startswith(side) and not place.endswith("wrist")] or list(SIDES)
    hit = np.mean([derivative(derivative(ankles[side][:, 2])) for side in sides], axis=0)
    w = 2.0 * np.pi * SHOCK_HZ
    b, a = bilinear([1.2 * w, 0.0], [1.0, 1.2 * w, w * w], GRID_HZ)
    passed = lfilter(b, a, np.roll(hit, round(later_s * GRID_HZ)))
    return np.asarray(share * passed)


def feel_body(segment: Segment, shaken_m_s2: Array) -> Felt:
    """Specific force and rate of a sensor on the body, with a vertical acceleration on top (n,)."""
    force = specific_force(segment.turn, segment.place_m) + shaken_m_s2[:, None] * segment.turn[:, 2, :]
    return Felt(force, body_rate(segment.turn), np.zeros(len(force)))
