"""Invented seasons: runs of a group of athletes with a known course behind them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Season:
    """What is simulated, in units of a typical session's standard deviation unless said otherwise."""

    athletes: int = 30
    sessions: int = 8
    runs: int = 3
    between: float = 2.0  # SD of the athletes' levels
    run_sd: float = 1.0  # SD of a run about its session
    differ: float = 0.4  # SD of the logarithm of an athlete's session variance
    day: float = 0.2  # share of the session variance that all athletes of a day have in common
    carried: float = 0.0  # correlation of an athlete's noise from session to session
    tails: float = np.inf  # degrees of freedom of the session noise, infinite: normal
    missing_session: float = 0.05
    missing_run: float = 0.1
    together: float = 0.3  # correlation of the metrics of a family

    @property
    def mean_sd(self) -> float:
        """SD of a session mean of all runs, typical athlete."""
        return float(np.sqrt(1.0 + self.run_sd**2 / self.runs))

    @property
    def detectable(self) -> float:
        """Minimal detectable change of a session mean (95 %)."""
        return 1.959963984540054 * np.sqrt(2.0) * self.mean_sd


def noise(rng: np.random.Generator, season: Season, shape: tuple[int, ...]) -> np.ndarray:
    """Draw noise of variance one, normal or with heavy tails."""
    if np.isinf(season.tails):
        return rng.standard_normal(shape)
    return rng.standard_t(season.tails, shape) / np.sqrt(season.tails / (season.tails - 2.0))


def draw(rng: np.random.Generator, season: Season, course: np.ndarray, shared: np.ndarray | None = None):
    """Draw one metric.

    Parameters
    ----------
    course : ndarray, shape (athletes, sessions)
        True change of every athlete since the first session.
    shared : ndarray, shape (athletes, sessions), optional
        Noise in common with the other metrics of the family.

    Returns
    -------
    values : DataFrame
        One row a run.
    level : ndarray, shape (athletes,)
        The athletes' own levels, before any change.
    session_sd : ndarray, shape (athletes,)
        The athletes' own SD of a session (without the runs).
    """
    a, s, r = season.athletes, season.sessions, season.runs
    fresh = noise(rng, season, (a, s))
    for k in range(1, s):
        fresh[:, k] = season.carried * fresh[:, k - 1] + np.sqrt(1.0 - season.carried**2) * fresh[:, k]
    if shared is not None:
        fresh = np.sqrt(season.together) * shared + np.sqrt(1.0 - season.together) * fresh
    day = noise(rng, season, (1, s))
    # The mean of the variance over athletes is one, however far they differ.
    session_sd = np.exp(0.5 * season.differ * rng.standard_normal(a) - 0.25 * season.differ**2)
    off = session_sd[:, None] * (np.sqrt(season.day) * day + np.sqrt(1.0 - season.day) * fresh)
    level = season.between * rng.standard_normal(a)
    value = (level[:, None] + course + off)[:, :, None] + season.run_sd * rng.standard_normal((a, s, r))
    value[rng.random((a, s, r)) < season.missing_run] = np.nan
    value[rng.random((a, s)) < season.missing_session] = np.nan
    athlete, session, run = np.indices((a, s, r)).reshape(3, -1)
    values = pd.DataFrame(
        {
            "athlete": [f"A{k:02d}" for k in athlete],
            "date": np.datetime64("2026-09-01") + 14 * session,
            "session": [f"S{k}" for k in session],
            "run": [f"run{k + 1}" for k in run],
            "phase": "all",
            "n": 20,
            "value": value.ravel(),
        }
    )
    return values, level, session_sd
