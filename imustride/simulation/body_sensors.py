"""What the devices on the body feel: the motion of their segment, blows from the feet, soft tissue.

No source is known for how much of a blow to the skate reaches each place, and how late; the shares are common
practice by order of size.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.simulation.body_draw import BODY_PLACES
from imustride.simulation.rotations import apply_back, own_rate, turn
from imustride.simulation.sensors import Logged, record
from imustride.simulation.timing import SIDES
from imustride.simulation.transitions import GRID_HZ, sample
from imustride.simulation.upper_body import Segment, sensor_place

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.simulation.body_draw import BodyDraw
    from imustride.simulation.drawing import Draw
    from imustride.simulation.parameters import Device
    from imustride.simulation.timing import Plan
    from imustride.simulation.whole_body import WholeBody

    Floats = NDArray[np.float64]

STREAM = 140
# Share of a blow to the feet that reaches a place, and its delay [s]; share of the shaking of the skate.
BLOWS = {
    "shank": (0.6, 0.001), "thigh": (0.4, 0.002), "pelvis": (0.3, 0.004),
    "trunk": (0.2, 0.0055), "head": (0.15, 0.007), "wrist": (0.15, 0.008),
}  # fmt: skip
SHAKES = {"shank": 0.3, "thigh": 0.1}
KNOCK_M_S2, KNOCK_S = 60.0, 0.008  # what the legs feel of a knock at the skates: half a sine
WOBBLES, WOBBLE_HZ = 4, (0.5, 5.0)


@dataclass(frozen=True, eq=False, slots=True)
class Feet:
    """What happens at the feet: acceleration the boots take up, earth (n, 3), and shaking in skate axes (n, 3)."""

    blows_m_s2: dict[str, Floats]
    shaking_m_s2: dict[str, Floats]


def felt(device: Device, segment: Segment) -> tuple[Floats, Floats]:
    """Specific force [m/s^2] and angular velocity [rad/s] of a perfect sensor on a segment, its axes."""
    place = sensor_place(segment, device.position_m)
    force = np.zeros_like(place)
    force[1:-1] = (place[2:] - 2 * place[1:-1] + place[:-2]) * GRID_HZ**2
    force[:, 2] += STANDARD_GRAVITY_M_S2
    return apply_back(segment.rotation, force), own_rate(segment.rotation)


def body_log(
    draw: Draw,
    body: BodyDraw,
    motion: WholeBody,
    place: str,
    feet: Feet,
    plan: Plan,
    log_s: tuple[float, float],
) -> Logged:
    """Record one place of the body in a run."""
    device, segment = body.devices[place], motion.segments[place]
    number = BODY_PLACES.index(place)
    noise, tissue = (np.random.default_rng([draw.seed, STREAM + k, draw.run, number]) for k in (0, 1))
    force, rate = felt(device, segment)
    force += body.style.body_shock * apply_back(segment.rotation, _blow(feet, place))
    if _part(place) in SHAKES:
        force += SHAKES[_part(place)] * feet.shaking_m_s2[_side(place)]
    force, rate = wobbled(force, rate, body.style.wobble_deg, motion.running, tissue)
    return record(device, place, force, rate, log_s, (plan.body_start_s, plan.push_end_s), noise)


def _part(place: str) -> str:
    return place.rpartition("_")[2]


def _side(place: str) -> str:
    return place.rpartition("_")[0]


def _blow(feet: Feet, place: str) -> Floats:
    """Return the acceleration that blows to the feet cause at a place [m/s^2], earth (n, 3)."""
    share, delay_s = BLOWS[_part(place)]
    one_leg = _part(place) in SHAKES
    sides = (_side(place),) if one_leg else SIDES
    blow = np.mean([feet.blows_m_s2[side] for side in sides], axis=0)
    late = sample(delay_s)
    return share * np.vstack([np.zeros((late, 3)), blow[:-late]])


def knocks(draw: Draw, plan: Plan, samples: int) -> Floats:
    """Return the jolt of knocks at the skates, upward [m/s^2], shape (n, 3); none where the heels made the shocks."""
    jolt = np.zeros((samples, 3))
    if draw.conditions.shock_kind == "knock":
        wave = KNOCK_M_S2 * np.sin(np.pi * np.arange(sample(KNOCK_S)) / sample(KNOCK_S))
        for shock_s in plan.shocks_s:
            jolt[sample(shock_s) : sample(shock_s) + len(wave), 2] += wave
    return jolt


def wobbled(
    force: Floats, rate: Floats, wobble_deg: float, running: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Turn the sensor against its segment by random sums of sines about all axes, while the body moves.

    The turn's root mean square is that of one sine of amplitude `wobble_deg`.
    """
    if wobble_deg == 0:
        return force, rate
    time_s = np.arange(len(running)) / GRID_HZ
    hz = rng.uniform(*WOBBLE_HZ, (3, WOBBLES, 1))
    waves = np.sin(2 * np.pi * (hz * time_s + rng.uniform(0, 1, (3, WOBBLES, 1)))).sum(axis=1)
    angle = np.radians(wobble_deg) * running * waves / np.sqrt(3 * WOBBLES)
    turned = turn(2, angle[2]) @ turn(1, angle[1]) @ turn(0, angle[0])
    return apply_back(turned, force), apply_back(turned, rate) + own_rate(turned)
