"""An evening in one log a sensor: simulated runs of several athletes among rest, skating about and standing.

The runs are those of the session generator as they are, put one behind the other on each sensor's own clock. What
lies between is made of sines and noise: it only has to look like life, and to hold no shocks that both feet feel.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.session import simulate_session

if TYPE_CHECKING:
    from collections.abc import Iterator

    from imustride.recording import SensorLog

CHUNK_S = 60.0
# Clocks of the sensors at the beginning [s].
CLOCKS_S = {"left_skate": 12.5, "right_skate": 911.25, "pelvis": 3.0}
SKATING_RAD_S = np.radians([40.0, 140.0, 60.0])


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the evening: the logs by place of a run or of movements, or so many seconds of something else."""

    kind: str  # run, movements, rest, skating, standing
    length_s: float = 0.0
    logs: dict[str, SensorLog] = field(default_factory=dict)
    athlete: str = ""
    run: str = ""
    gate_time_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Evening:
    """Parts in order of time."""

    parts: tuple[Part, ...]
    rate_hz: float
    places: tuple[str, ...]

    def runs(self) -> list[tuple[float, Part]]:
        """Begin of each run [s from the evening's], and the run."""
        found, at_s = [], 0.0
        for part in self.parts:
            if part.kind == "run":
                found.append((at_s, part))
            at_s += part.length_s
        return found

    def chunks(self, place: str) -> Iterator[np.ndarray]:
        """Give the samples of one sensor: time [s], acceleration [m/s^2], angular velocity [rad/s]; (n, 7)."""
        rng = np.random.default_rng([len(place), int(self.rate_hz)])
        at_s = CLOCKS_S.get(place, 30.0 + 7.0 * len(place))
        gravity = self._next(0, place, np.array([0.0, 0.0, 9.81]))
        for number, part in enumerate(self.parts):
            if part.logs:
                yield _of_run(part.logs[place], at_s)
                gravity = part.logs[place].acceleration_m_s2[-50:].mean(axis=0)
            else:
                to = gravity if part.kind == "rest" else self._next(number, place, gravity)
                yield from _between(part, place, at_s, self.rate_hz, rng, (gravity, to))
                gravity = to
            at_s += part.length_s

    def _next(self, number: int, place: str, otherwise: np.ndarray) -> np.ndarray:
        """How gravity lies in the sensor when the next run begins."""
        logs = (part.logs[place] for part in self.parts[number:] if part.logs)
        return next((log.acceleration_m_s2[:50].mean(axis=0) for log in logs), otherwise)

    def samples(self, place: str) -> np.ndarray:
        """All samples of one sensor, shape (n, 7)."""
        return np.concatenate(list(self.chunks(place)))


def _of_run(log: SensorLog, at_s: float) -> np.ndarray:
    time_s = log.time_s - log.time_s[0] + at_s
    return np.column_stack((time_s, log.acceleration_m_s2, log.angular_velocity_rad_s))


def _between(
    part: Part,
    place: str,
    at_s: float,
    rate_hz: float,
    rng: np.random.Generator,
    gravity: tuple[np.ndarray, np.ndarray],
) -> Iterator[np.ndarray]:
    count = round(part.length_s * rate_hz)
    for first in range(0, count, round(CHUNK_S * rate_hz)):
        number = np.arange(first, min(first + round(CHUNK_S * rate_hz), count))
        time_s = at_s + number / rate_hz
        noise = rng.normal(0, 1, (len(number), 6)).astype(np.float32)
        share = number[:, None] / count  # it turns slowly from how it lay to how it will lie
        acceleration = 0.03 * noise[:, :3] + (1 - share) * gravity[0] + share * gravity[1]
        turning = np.radians(0.1) * noise[:, 3:]
        if part.kind == "skating":
            # The left and the right foot in turn; a pause of a second now and then is no stance.
            phase = np.pi if place.startswith("right") else 0.0
            t = number[:, None] / rate_hz
            turning = turning + SKATING_RAD_S * np.sin(
                2 * np.pi * 0.7 * t + phase + np.array([0.0, 1.0, 2.0])
            )
            acceleration += 2.5 * noise[:, :3]
        yield np.column_stack((time_s, acceleration, turning))


def evening(
    athletes: dict[str, int],
    runs: int,
    *,
    rate_hz: float = 200.0,
    between_s: float = 60.0,
    places: tuple[str, ...] = (),
    movements: bool = False,
    **factors: float | str | bool,
) -> Evening:
    """Simulate an evening in which the athletes run in turn, each with the same sensors.

    Parameters
    ----------
    athletes : dict of str to int
        Seed of each code.
    runs : int
        Of each.
    rate_hz : float
    between_s : float
        From the end of a run's log to the begin of the next, about: rest, skating back, standing.
    places : tuple of str
        Beside the skates.
    movements : bool
        Whether each athlete does movements at the boards first.
    **factors
        As of `simulate_session`.
    """
    whole = {"log_begins_late": False, "log_ends_early": False, "rate_hz": rate_hz, **factors}
    simulated = {
        code: simulate_session(seed, runs, places=places, **whole) for code, seed in athletes.items()
    }
    rng = np.random.default_rng(sum(athletes.values()))
    parts = [Part("rest", 40.0), Part("skating", 70.0)]
    for code in athletes if movements else ():
        logs = simulated[code][0].movements["all"]
        longest_s = max(len(log.time_s) for log in logs.values()) / rate_hz
        parts += [Part("rest", 8.0), Part("movements", longest_s + 0.2, logs, code), Part("rest", 8.0)]
        parts.append(Part("skating", 30.0))
    for number in range(runs):
        for code in athletes:
            run = simulated[code][number]
            lengths = [len(log.time_s) / rate_hz for log in run.logs.values()]
            gate_time_s = float(np.diff(run.gates_s)[0])
            parts.append(Part("rest", between_s * rng.uniform(0.3, 0.5)))
            parts.append(Part("skating", between_s * rng.uniform(0.2, 0.4)))
            parts.append(Part("rest", rng.uniform(5.0, 9.0)))
            parts.append(Part("run", max(lengths) + 0.2, run.logs, code, f"run-{number + 1}", gate_time_s))
            parts.append(Part("rest", 1.0))
    # Somebody stands, skates for eight seconds and stops: all of a run but its shocks.
    parts += [Part("skating", 30.0), Part("rest", 6.0), Part("skating", 8.0), Part("rest", 20.0)]
    return Evening(tuple(parts), rate_hz, tuple(next(iter(simulated.values()))[0].logs))
