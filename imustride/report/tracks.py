"""What the picture from above shows: the run to draw, and where both blades went in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.report.drawing import FEET

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.kinematics import BladePath, Clock
    from imustride.results import RunResult

BEYOND_M = 0.5  # drawn behind the last push or the last gate


@dataclass(frozen=True, eq=False, slots=True)
class Track:
    """One blade's way over the ice.

    Parameters
    ----------
    place_m : ndarray, shape (n, 2)
        Along the lane, and across it to the left.
    on_ice : ndarray of bool, shape (n,)
    off_m, off_sd_m : ndarray, shape (k, 2)
        Where the blade leaves the ice, and how well that is known.
    names : tuple of str
        Letter of the foot and number of the push.
    """

    place_m: NDArray[np.float64]
    on_ice: NDArray[np.bool_]
    off_m: NDArray[np.float64]
    off_sd_m: NDArray[np.float64]
    names: tuple[str, ...]


def drawn_run(runs: Sequence[RunResult], gate_time_s: Mapping[str, float]) -> tuple[RunResult, str] | None:
    """Choose the run to draw, and say why it was chosen (key of a text); None where no run has a path.

    The fastest by its gates among those that count, or the first that counts, or the first at all.

    Parameters
    ----------
    runs : sequence of RunResult
    gate_time_s : mapping of str to float
        Time from the first gate to the last by the name of the run [s]; NaN or nothing without gates.
    """
    tracked = [run for run in runs if run.paths and run.pushes["blade_off_s"].notna().any()]
    counting = [run for run in tracked if run.usable]
    timed = [run for run in counting if np.isfinite(gate_time_s.get(run.name, np.nan))]
    if len(timed) > 1:
        return min(timed, key=lambda run: gate_time_s[run.name]), "fastest"
    if counting:
        return counting[0], "first"
    return (tracked[0], "left_out") if tracked else None


def tracks(
    paths: Mapping[str, BladePath],
    clocks: Mapping[str, Clock],
    pushes: pd.DataFrame,
    gate_m: NDArray[np.float64],
) -> dict[str, Track]:
    """Return the tracks of one run by side, up to the last push or gate.

    Parameters
    ----------
    paths, clocks : mapping of side
    pushes : DataFrame
        The run's rows of ``pushes.csv``.
    gate_m : ndarray, shape (g,)
        Where the gates stand along the lane, counted as the paths are [m]; empty without gates.

    Returns
    -------
    dict of side to Track
    """
    whole = {
        side: track(side, paths[side], clocks[side], pushes[pushes["side"] == side])
        for side in FEET
        if side in paths
    }
    ends = np.concatenate([gate_m, *(one.off_m[:, 0] for one in whole.values())])
    end_m = float(np.nanmax(ends, initial=0.0)) + BEYOND_M
    return {side: until(one, end_m) for side, one in whole.items()}


def track(side: str, path: BladePath, clock: Clock, pushes: pd.DataFrame) -> Track:
    """Return the whole track of one blade."""
    times = np.asarray(clock.reference(path.time_s))
    on, off = (pushes[name].to_numpy(dtype=float) for name in ("blade_on_s", "blade_off_s"))
    stands, unfinished = (
        pushes["flags"].str.contains(word, regex=False).to_numpy(dtype=bool)
        for word in ("standing_start", "log_end")
    )
    # What else is empty lies in a gap: then nobody knows where that contact begins or ends.
    begin, end = np.where(stands, -np.inf, on), np.where(unfinished, np.inf, off)
    on_ice = np.asarray(((times[:, None] >= begin) & (times[:, None] <= end)).any(axis=1))
    left = np.isfinite(off)
    # Differences of the two clocks stay the same over a run, far better than a track can be drawn.
    own = off[left] - (times[0] - path.time_s[0])
    names = [f"{FEET[side].letter}{number}" for number in pushes["push"].to_numpy()[left]]
    return Track(
        path.position_m,
        on_ice,
        path.at(path.position_m, own),
        np.linalg.norm(path.at(path.root, own), axis=2),
        tuple(names),
    )


def until(whole: Track, end_m: float) -> Track:
    """Cut a track where it first gets beyond a place along the lane [m]."""
    beyond = whole.place_m[:, 0] > end_m
    stop = int(beyond.argmax()) if beyond.any() else len(beyond)
    return Track(whole.place_m[:stop], whole.on_ice[:stop], whole.off_m, whole.off_sd_m, whole.names)
