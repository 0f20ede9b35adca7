"""Find the runs in logs of hours: shared shocks, a quiet stance, a sprint of both feet, a stop.

Everything works on statistics of blocks (`survey`). What looks like a run but lacks something is returned with
the reason: a false start, one foot alone, skating about.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from imustride.cutting.shared_blows import given_out, shared_shocks, windows_s
from imustride.cutting.skates import FindingSettings, Skate, made_ready, pushing_s

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from imustride.cutting.shared_blows import Ends
    from imustride.cutting.survey import Blocks


@dataclass(frozen=True, slots=True)
class Candidate:
    """What may be a run; times on the clock of the first skate [s].

    Parameters
    ----------
    from_s, to_s : float
        To be cut out: shocks, stance, motion, stop, shocks.
    start_s, stop_s : float
        The motion.
    sprint_s : float
        How long the feet push.
    stance_s : float
        How long both stand still before.
    shocks_s : tuple of float
        Shared shocks; of the one foot that shows the run, where the other's log does not cover it.
    before : int
        How many of them lie before the start.
    places : tuple of str
        Skates whose log covers the run.
    reason : str
        Why it is set aside; empty for a run.
    """

    from_s: float
    to_s: float
    start_s: float
    stop_s: float
    sprint_s: float
    stance_s: float
    shocks_s: tuple[float, ...]
    before: int
    places: tuple[str, ...]
    reason: str = ""

    @property
    def is_sure(self) -> bool:
        """Whether it has everything of a run, two shocks at one end included."""
        return not self.reason and len(self.shocks_s) >= 2


@dataclass(frozen=True, eq=False, slots=True)
class _Motion:
    """A motion with a stance before it: what is known of it before shocks are given out."""

    start_s: float
    stop_s: float
    sprint_s: float
    stance_s: float
    windows_s: tuple[tuple[float, float], tuple[float, float]]
    shocks_s: Ends
    places: tuple[str, ...]
    alone: str


def find_runs(
    skates: Mapping[str, Blocks], lags_s: Mapping[str, float], settings: FindingSettings | None = None
) -> list[Candidate]:
    """Find what may be runs in the logs of one or both skates.

    Parameters
    ----------
    skates : mapping of place to Blocks
        The first one's clock counts.
    lags_s : mapping of place to float
        Time on the first clock minus time on each own clock [s], coarse; 0 for the first.
    settings : FindingSettings, optional

    Returns
    -------
    list of Candidate
        In order of time; those with a `reason` are set aside.
    """
    settings = settings or FindingSettings()
    ready = {place: made_ready(blocks, lags_s[place], settings) for place, blocks in skates.items()}
    motions = [_motion(ready, starts, settings) for starts in _together(list(ready.values()), settings)]
    found = sorted((one for one in motions if one is not None), key=lambda one: one.start_s)
    reasons = [one.alone or _reason(one, settings) for one in found]
    runs = [one for one, reason in zip(found, reasons, strict=True) if not reason]
    given = given_out([one.shocks_s for one in runs], [(one.start_s, one.stop_s) for one in runs], settings)
    candidates = [_candidate(one, shocks, "", settings) for one, shocks in zip(runs, given, strict=True)]
    candidates += [
        _candidate(one, one.shocks_s, reason, settings)
        for one, reason in zip(found, reasons, strict=True)
        if reason
    ]
    return _parted(_without_shocks_of_runs(candidates, settings))


def _together(ready: Sequence[Skate], settings: FindingSettings) -> list[tuple[int | None, ...]]:
    """Pair the motions of both feet by when they begin; None for a foot that does not begin to move then."""
    long = [
        np.flatnonzero(np.diff(skate.motions, axis=1)[:, 0] >= settings.shortest_start_s) for skate in ready
    ]
    if len(ready) == 1:
        return [(int(at),) for at in long[0]]
    begins = [skate.motions[at, 0] for skate, at in zip(ready, long, strict=True)]
    pairs: list[tuple[int | None, ...]] = []
    taken: set[int] = set()
    for at, begin_s in zip(long[0], begins[0], strict=True):
        gap_s = np.abs(begins[1] - begin_s)
        nearest = int(np.argmin(gap_s)) if len(gap_s) else -1
        if nearest < 0 or gap_s[nearest] > settings.start_difference_s or nearest in taken:
            pairs.append((int(at), None))
            continue
        taken.add(nearest)
        pairs.append((int(at), int(long[1][nearest])))
    alone = [(None, int(at)) for place, at in enumerate(long[1]) if place not in taken]
    return [*pairs, *alone]


def _motion(
    ready: Mapping[str, Skate], at: tuple[int | None, ...], settings: FindingSettings
) -> _Motion | None:
    """Look at one motion; None where nobody stood still before, which is any other movement."""
    moved = {
        place: (ready[place], motion) for place, motion in zip(ready, at, strict=True) if motion is not None
    }
    stances_s = [float(skate.stance_s[motion]) for skate, motion in moved.values()]
    if max(stances_s) < settings.shortest_stance_s or min(stances_s) < settings.quiet.shortest_stance_s:
        return None
    start_s = min(float(skate.motions[motion, 0]) for skate, motion in moved.values())
    stop_s = max(float(skate.motions[motion, 1]) for skate, motion in moved.values())
    covering = [place for place in ready if place not in moved and ready[place].covers(start_s, stop_s)]
    skates = [skate for skate, _ in moved.values()]
    around_s = windows_s(skates[0], start_s, stop_s, settings)
    shocks = shared_shocks(skates, *around_s, settings)
    told = " and ".join(place.replace("_", " ") for place in moved)
    return _Motion(
        start_s,
        stop_s,
        pushing_s(skates, start_s, settings),
        min(stances_s),
        around_s,
        (shocks[shocks < start_s], shocks[shocks >= start_s]),
        tuple(place for place in ready if place in moved or place in covering),
        f"only the {told} begins to move there" if covering else "",
    )


def _reason(motion: _Motion, settings: FindingSettings) -> str:
    motion_s = motion.stop_s - motion.start_s
    if motion_s < settings.shortest_run_s:
        return f"moves for {motion_s:.1f} s only: a false start?"
    if motion.sprint_s < settings.shortest_run_s - settings.smoothing_s:
        return f"pushes for {motion.sprint_s:.1f} s only: no sprint"
    if motion.sprint_s > settings.longest_sprint_s:
        return f"pushes for {motion.sprint_s:.0f} s: no sprint through gates"
    if motion_s > settings.longest_run_s and len(motion.shocks_s[0]) < 2:
        return f"goes on for {motion_s:.0f} s without a stop: skating about"
    return ""


def _candidate(motion: _Motion, shocks: Ends, reason: str, settings: FindingSettings) -> Candidate:
    before, behind = shocks
    from_s = before[0] - settings.lead_s if len(before) else motion.start_s - settings.quiet_before_s
    to_s = behind[-1] + settings.lead_s if len(behind) else motion.stop_s + settings.quiet_after_s
    return Candidate(
        max(float(from_s), motion.windows_s[0][0]),
        min(float(to_s), motion.windows_s[1][1]),
        motion.start_s,
        motion.stop_s,
        motion.sprint_s,
        motion.stance_s,
        tuple(float(time_s) for time_s in (*before, *behind)),
        len(before),
        motion.places,
        reason,
    )


def _without_shocks_of_runs(found: Sequence[Candidate], settings: FindingSettings) -> list[Candidate]:
    """Leave out what lies inside a run: heels that are raised, a stop by itself; and such beside what is set aside."""
    long = [one for one in found if not one.reason or one.stop_s - one.start_s >= settings.shortest_run_s]
    return [
        one
        for one in found
        if not one.reason
        or not any(
            other is not one
            and (not other.reason or one not in long)
            and other.from_s <= one.start_s
            and one.stop_s <= other.to_s
            for other in long
        )
    ]


def _parted(found: Sequence[Candidate]) -> list[Candidate]:
    """Sort by time, and part the spans of neighbouring runs; those with shocks keep theirs."""
    ordered = sorted(found, key=lambda one: one.start_s)
    runs = [place for place, one in enumerate(ordered) if not one.reason]
    for first, second in pairwise(runs):
        one, other = ordered[first], ordered[second]
        if one.to_s > other.from_s:
            cut_s = 0.5 * (one.to_s + other.from_s)
            if one.is_sure != other.is_sure:
                cut_s = one.to_s if one.is_sure else other.from_s
            cut_s = min(max(cut_s, one.stop_s), other.start_s)
            ordered[first] = replace(one, to_s=cut_s)
            ordered[second] = replace(other, from_s=cut_s)
    return ordered
