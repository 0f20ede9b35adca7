"""Find the straight-legged standing and the movements after it in a recording made to align a sensor."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from imustride.cutting.stance import StanceSettings, quiet_blocks
from imustride.errors import SignalQualityError
from imustride.recording import stretches

if TYPE_CHECKING:
    from imustride.recording import Recording


@dataclass(frozen=True, slots=True)
class StandingSettings:
    """Limits of a recording of standing and movements (common practice, no source)."""

    quiet: StanceSettings = field(default_factory=StanceSettings)
    shortest_standing_s: float = 1.5
    shortest_movement_s: float = 0.6
    pause_s: float = 0.4  # a movement halts at its turning points for less than this
    guard_s: float = 0.15  # what shows only later that it moves


@dataclass(frozen=True, slots=True)
class Standing:
    """Samples of the standing, and of each movement after or before it."""

    standing: slice
    movements: tuple[slice, ...]


def find_standing(recording: Recording, settings: StandingSettings | None = None) -> Standing:
    """Find the first quiet standing and all movements of a recording.

    Parameters
    ----------
    recording : Recording
        One sensor's recording of standing, or of standing and movements.
    settings : StandingSettings, optional

    Returns
    -------
    Standing

    Raises
    ------
    SignalQualityError
        If nobody stands quietly in it for long enough.
    """
    settings = settings or StandingSettings()
    quiet, _, size = quiet_blocks(recording, settings.quiet)
    step_s = size / recording.rate_hz
    moving = ~quiet
    for first, last in stretches(quiet):
        if first > 0 and last < len(quiet) and (last - first) * step_s < settings.pause_s:
            moving[first:last] = True
    stands = [
        (first, last)
        for first, last in stretches(~moving)
        if (last - first) * step_s >= settings.shortest_standing_s
    ]
    if not stands:
        message = (
            f"{recording.place}: nobody stands quietly for {settings.shortest_standing_s:g} s in this recording; "
            "wanted 3 s of standing straight before the movements; record it again"
        )
        raise SignalQualityError(message)
    guard = round(settings.guard_s * recording.rate_hz)
    first, last = stands[0]
    return Standing(
        slice(int(first * size) + guard, int(last * size) - guard),
        tuple(
            slice(int(begin * size), int(end * size))
            for begin, end in stretches(moving)
            if (end - begin) * step_s >= settings.shortest_movement_s
        ),
    )
