"""An invented season: athletes who differ from day to day, two of them with a true change.

How much days differ is common practice, no source: it is what a season has to be told apart from, not a claim.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from imustride.simulation.drawing import draw
from imustride.simulation.session import simulate_session

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from imustride.simulation.drawing import Draw
    from imustride.simulation.run import SimulatedRun

GRADE: Final = "good"
FIRST_DAY: Final = dt.date(2025, 9, 6)
DAYS_APART: Final = 14
# Day to day, standard deviations.
OF_SIZE: Final = {"peak_speed_m_s": 0.01, "stride_time_s": 0.01, "pitch_rate_deg_s": 0.02}
IN_POINTS: Final = {"contact_asymmetry_percent": 1.0, "rate_asymmetry_percent": 1.0}
REFITTED_DEG: Final = 3.0  # a sensor put on anew
QUICK_STRIDE_S: Final = (0.55, 0.7)  # so that short runs hold many pushes
# The planted changes, from the middle of the season on: of the second athlete and of the third.
TURNS_FASTER: Final = 0.15  # of the push-off angular velocity, with a second pair of skates
SHIFTED: Final = 14.0  # symmetry index of the contact time, towards the other foot [points]


@dataclass(frozen=True, eq=False, slots=True)
class SimulatedSession:
    """One session of an invented season.

    Parameters
    ----------
    athlete : str
        Code.
    date : date
    runs : list of SimulatedRun
    conditions : mapping of str to str
        What is noted beside the usual.
    push_off_angular_velocity_percent, contact_asymmetry_points : float
        True change since the first session, of either.
    """

    athlete: str
    date: dt.date
    runs: list[SimulatedRun]
    conditions: Mapping[str, str] = field(default_factory=dict)
    push_off_angular_velocity_percent: float = 0.0
    contact_asymmetry_points: float = 0.0


def simulate_season(
    seed: int, athletes: int = 4, sessions: int = 8, runs: int = 2
) -> Iterator[SimulatedSession]:
    """Simulate the sessions of a season, athlete by athlete.

    Parameters
    ----------
    seed : int
        Same seed, same season.
    athletes : int
        Three at least: the first has no change, nor has the fourth or any further one.
    sessions, runs : int
        Of each athlete, every 14 days; of each session.
    """
    for number in range(athletes):
        own_seed = 1000 * seed + number
        rng = np.random.default_rng([own_seed, 90])
        usual: dict[str, Any] = {
            "stride_time_s": float(rng.uniform(*QUICK_STRIDE_S)),
            "log_begins_late": False,
            "log_ends_early": False,
        }
        base = draw(own_seed, GRADE, 0, usual)
        for session in range(sessions):
            late = session >= sessions // 2
            faster, shift = TURNS_FASTER * (late and number == 1), SHIFTED * (late and number == 2)
            if base.skater.contact_asymmetry_percent > 0.0:
                shift = 0.0 - shift
            of_day = _of_day(base, rng, faster, shift)
            simulated = simulate_session(
                own_seed, runs, GRADE, first_run=session * runs, rate_hz=200.0, **(usual | of_day)
            )
            yield SimulatedSession(
                f"Q{number + 1:02d}",
                FIRST_DAY + dt.timedelta(days=DAYS_APART * session),
                simulated,
                {"skates": "second pair" if late and number == 1 else "first pair"},
                100.0 * faster,
                shift,
            )


def _of_day(base: Draw, rng: np.random.Generator, faster: float, shift: float) -> dict[str, Any]:
    """Draw how an athlete skates, and how the sensors sit, on one day."""
    skater = base.skater
    drawn: dict[str, Any] = {
        name: getattr(skater, name) * (1.0 + sd * rng.standard_normal()) for name, sd in OF_SIZE.items()
    }
    drawn |= {name: getattr(skater, name) + sd * rng.standard_normal() for name, sd in IN_POINTS.items()}
    drawn["pitch_rate_deg_s"] *= 1.0 + faster
    drawn["contact_asymmetry_percent"] += shift
    for side in ("left", "right"):
        drawn[f"{side}_mount_quaternion"] = _refitted(base.devices[side].mount_quaternion, rng)
    return {name: value if isinstance(value, tuple) else float(value) for name, value in drawn.items()}


def _refitted(mount: tuple[float, ...], rng: np.random.Generator) -> tuple[float, ...]:
    from scipy.spatial.transform import Rotation

    turn = Rotation.from_rotvec(np.radians(REFITTED_DEG) * rng.standard_normal(3))
    return tuple(float(part) for part in (Rotation.from_quat(mount) * turn).as_quat())
