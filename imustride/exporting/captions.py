"""Captions of pushes for a film of the run: W3C WebVTT, which any player of video shows.

The grammar is that of https://www.w3.org/TR/webvtt1/ (section 4). The left foot's captions stand at the left edge of
the picture, the right foot's at the right one, so that those of both feet can be read where they overlap.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from imustride.constants import SIDES
from imustride.errors import SettingsError
from imustride.exporting.swap import write_whole

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.results import RunResult

Times = TypeVar("Times", "NDArray[np.float64]", float)

MARK = "imustride captions"
# A push whose blade-on is not known (from standing, or lost in a gap) shows so long before its blade-off, and the
# last one of a foot so long from its own beginning (ours: long enough to be seen).
LEAD_S, HOLD_S = 0.4, 2.0
SETTINGS = {"left": "position:4% size:46% align:left", "right": "position:96% size:46% align:right"}
LARGEST_S = 1e6  # eleven days: no film is longer
# Text of a file may hold neither a null, nor line ends, nor what turns the direction of reading.
_UNSEEN = re.compile(r"[ \x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]+")


@dataclass(frozen=True, slots=True)
class Cue:
    """One caption: from when to when in the film [s], whose push it is, and its lines."""

    begin_s: float
    end_s: float
    name: str
    side: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FilmTime:
    """When something of the run is seen in a film: ``film = at_s + slower (run - event_s)``.

    Parameters
    ----------
    event_s : float
        On the run's clock [s].
    at_s : float
        When the film shows it, from its beginning [s].
    slower : float
        How many times slower than life the film plays; 1: as fast.
    """

    event_s: float
    at_s: float
    slower: float = 1.0

    def film_s(self, run_s: Times) -> Times:
        """Times in the film [s] of times on the run's clock [s]."""
        return self.at_s + self.slower * (run_s - self.event_s)


def caption_problem(run: RunResult) -> str | None:
    """Return why the pushes of a run cannot be shown over one film, or None where they can."""
    flags = run.pushes["flags"].fillna("").str.split(";").explode()
    if not (run.pushes["push"] > 0).any():
        return f"no push was found{f' ({run.reason})' if run.reason else ''}"
    if (flags == "sides_swapped").any():
        return "left and right are exchanged; correct session.toml first"
    if (flags == "clocks_not_synchronised").any():
        return "the clocks of the two skates are not joined, so no film can be laid beside both"
    return None


def cues(run: RunResult, film: FilmTime, say: Callable[[pd.Series], Sequence[str]]) -> tuple[list[Cue], int]:
    """Return the captions of a run in order of time, and how many pushes lie before the film's beginning.

    A caption stands from blade-on to the next one of the same foot.

    Parameters
    ----------
    run : RunResult
    film : FilmTime
    say : callable
        Lines of a caption from a row of ``pushes.csv``.
    """
    found: list[Cue] = []
    for side in SIDES:
        rows = run.pushes[(run.pushes["side"] == side) & (run.pushes["push"] > 0)].sort_values("push")
        begin_s = film.film_s(_begin_s(rows))
        end_s = np.minimum(np.append(begin_s[1:], np.inf), begin_s + film.slower * HOLD_S)
        found += [
            Cue(begin, end, f"{run.name} {side} {row['push']}", side, tuple(say(row)))
            for begin, end, (_, row) in zip(begin_s, end_s, rows.iterrows(), strict=True)
            if np.isfinite(begin)
        ]
    kept = [cue for cue in found if cue.end_s > 0.001]  # what rounds to nothing at the beginning is none
    return sorted(kept, key=lambda cue: (max(cue.begin_s, 0.0), cue.side)), len(found) - len(kept)


def _begin_s(rows: pd.DataFrame) -> NDArray[np.float64]:
    """Blade-on of each push, else a little before its blade-off, but not before the blade-off of the push before."""
    on_s, off_s = (rows[name].to_numpy(dtype=float) for name in ("blade_on_s", "blade_off_s"))
    before_s = np.append(-np.inf, off_s[:-1])[: len(off_s)]
    return np.where(np.isfinite(on_s), on_s, np.fmax(off_s - LEAD_S, before_s))


def webvtt(captions: Sequence[Cue], about: Sequence[str] = ()) -> str:
    """Return captions as the text of a WebVTT file.

    Parameters
    ----------
    captions : sequence of Cue
        In any order.
    about : sequence of str
        Lines of a comment for who opens the file; players show nothing of it.
    """
    comment = "\n".join((f"NOTE {MARK}", *map(_escaped, filter(None, about))))
    blocks = [
        f"{_escaped(cue.name)}\n{_timing(cue)}\n{_payload(cue)}" for cue in sorted(captions, key=_order)
    ]
    return "\n\n".join(("WEBVTT", comment, *blocks)) + "\n"


def write_captions(path: Path, text: str) -> None:
    """Write a file of captions, whole or not at all.

    Raises
    ------
    SettingsError
        If there is a file that is no captions of this program.
    OSError
        If it cannot be written.
    """
    if path.is_symlink() or (path.exists() and not _ours(path)):
        message = f"{path}: found another file of this name, which holds no captions of this program; move it away, or choose another --out"
        raise SettingsError(message)
    write_whole(path, text)


def _ours(path: Path) -> bool:
    wanted = f"WEBVTT\n\nNOTE {MARK}\n".encode()
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(len(wanted)) == wanted


def _order(cue: Cue) -> tuple[float, str]:
    return (max(cue.begin_s, 0.0), cue.side)


def _timing(cue: Cue) -> str:
    begin_ms, end_ms = (max(round(1000 * at_s), 0) for at_s in (cue.begin_s, cue.end_s))
    return f"{_stamp(begin_ms)} --> {_stamp(max(end_ms, begin_ms + 1))} {SETTINGS[cue.side]}"


def _stamp(at_ms: int) -> str:
    minutes, rest = divmod(at_ms, 60_000)
    return f"{minutes // 60:02d}:{minutes % 60:02d}:{rest // 1000:02d}.{rest % 1000:03d}"


def _payload(cue: Cue) -> str:
    """Lines of text; an empty one would end the caption."""
    return "\n".join(filter(None, map(_escaped, cue.lines))) or "\N{EN DASH}"


def _escaped(text: str) -> str:
    """Return text without markup, an arrow, line ends and signs that are not seen."""
    plain = _UNSEEN.sub(" ", text).strip()
    return plain.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
