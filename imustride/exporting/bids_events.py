"""Events of one run for Motion-BIDS: blade-on, blade-off and gates, from a folder of results."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import quote

import numpy as np

from imustride.exporting.reading_back import read_results

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

EVENTS = ("onset", "duration", "trial_type", "side", "push", "position_m", "time_s", "flags")
EVENTS_ABOUT = {
    "onset": {
        "Description": "On the clock of the first sensor in SessionDeclaration that recorded the run, as its LATENCY; where "
        "flags say clocks_not_synchronised, on the clock of the sensor on that side.",
        "Units": "s",
    },
    "trial_type": {
        "Levels": {
            "blade_on": "the blade meets the ice",
            "blade_off": "the blade leaves the ice",
            "gate": "the body passes a gate of the timing system",
        }
    },
    "side": {"Description": "skate"},
    "push": {"Description": "number of the push of that side in the run"},
    "position_m": {"Description": "of a gate, from the first gate on", "Units": "m"},
    "time_s": {
        "Description": "at a gate, from the first gate on, on the timing system's clock",
        "Units": "s",
    },
    "flags": {"Description": "of the push in the table pushes of the results"},
}
MISSING = "n/a"
DECIMALS = 5  # as in the tables of results


def event_rows(
    results: Path, run: str, gates: tuple[NDArray[np.float64], NDArray[np.float64]] | None
) -> list[tuple[str, ...]]:
    """Return the rows of ``_events.tsv`` in order of time, what has no time last.

    Parameters
    ----------
    results : Path
        Folder of results, checked as it is read.
    run : str
    gates : tuple of ndarray, shape (n,), or None
        Positions [m] and times [s] of the timing system.
    """
    _, tables = read_results(results)
    pushes = tables["pushes"]
    rows: list[tuple[float, tuple[str, ...]]] = []
    for push in pushes[pushes["run"] == run].to_dict("records"):
        rest = (str(push["side"]), str(push["push"]), MISSING, MISSING, push["flags"] or MISSING)
        rows += [
            (push[f"{what}_s"], (what, *rest))
            for what in ("blade_on", "blade_off")
            if np.isfinite(push[f"{what}_s"])
        ]
    if gates is not None:
        passed_s = _passed_s(results, run, len(gates[0]))
        rows += [
            (passed, ("gate", MISSING, MISSING, repr(float(position)), repr(float(time)), MISSING))
            for passed, position, time in zip(passed_s, *gates, strict=True)
        ]
    timed = sorted(rows, key=lambda row: (not np.isfinite(row[0]), row[0] if np.isfinite(row[0]) else 0.0))
    return [(f"{onset:.{DECIMALS}f}" if np.isfinite(onset) else MISSING, "0", *rest) for onset, rest in timed]


def _passed_s(results: Path, run: str, count: int) -> list[float]:
    """When the body passed each gate, on the run's clock [s]; NaN where no path was fitted."""
    import h5py

    with h5py.File(results / "session.h5", "r") as file:
        body = file.get(f"runs/{quote(run, safe=' ')}/body")
        found = [] if body is None else [float(time) for time in body["gate_time"][:]]
    return found if len(found) == count else [float("nan")] * count
