"""One skate's log of hours made ready for the search: motions, the standing before each, sharp spikes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.cutting.stance import StanceSettings, calm
from imustride.cutting.survey import BLOCK_S
from imustride.recording import stretches

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from imustride.cutting.survey import Blocks


@dataclass(frozen=True, slots=True)
class FindingSettings:
    """Limits of a run in a long log (common practice, no source).

    The protocol wants 3 s of quiet standing and a sprint; blocks at both ends of a stance are lost.
    """

    quiet: StanceSettings = field(default_factory=StanceSettings)
    shortest_stance_s: float = 2.0
    shortest_start_s: float = 0.8  # a shorter motion is no false start
    shortest_run_s: float = 3.0
    longest_sprint_s: float = 20.0
    longest_run_s: float = 60.0  # until somebody stands still again
    pushing_rad_s: float = 0.8  # a skate that pushes turns by more, over half a second
    smoothing_s: float = 0.7
    pause_s: float = 1.5  # in the pushing, on either foot
    start_difference_s: float = 2.0  # of the two feet, with what is left of their clocks
    shocks_before_s: float = 30.0
    shocks_after_s: float = 20.0
    smallest_shock_m_s2: float = 2.0
    noise_multiple: float = 8.0
    lone_ratio: float = 4.0  # a shock stands out of the second around it
    apart_s: float = 0.15
    same_shock_s: float = 0.03
    residual_s: float = 1.5  # what the coarse join of the clocks leaves over
    longest_hole_s: float = 1.5
    group_s: float = 3.0  # shocks of one end of a run lie nearer to each other
    lead_s: float = 2.0  # kept before the first shock and behind the last
    quiet_before_s: float = 12.0  # kept where no shocks were found
    quiet_after_s: float = 12.0


@dataclass(frozen=True, eq=False, slots=True)
class Skate:
    """One skate's log made ready: its motions and spikes, on the clock of the first skate.

    `motions` holds first and last time of each [s], shape (n, 2); `stance_s` how long it stood before each;
    `spikes` time and size, shape (k, 2).
    """

    blocks: Blocks
    lag_s: float
    motions: NDArray[np.float64]
    stance_s: NDArray[np.float64]
    spikes: NDArray[np.float64]

    def covers(self, from_s: float, to_s: float) -> bool:
        """Tell whether the log holds most of a span."""
        first, last = (self.blocks.index(at - self.lag_s) for at in (from_s, to_s))
        begins, ends = self.blocks.start_s + self.lag_s, self.blocks.end_s + self.lag_s
        inside = begins <= from_s + BLOCK_S and to_s <= ends + BLOCK_S
        return inside and bool(self.blocks.measured[first : last + 1].mean() > 0.9)


def made_ready(blocks: Blocks, lag_s: float, settings: FindingSettings) -> Skate:
    """Find motions and spikes of one skate; times on the first clock."""
    quiet, _, _ = calm(
        blocks.rate_mean_rad_s, blocks.rate_sd_rad_s, blocks.acceleration_sd_m_s2, settings.quiet
    )
    quiet, moving = _across_holes(quiet, blocks.measured, settings)
    for first, last in stretches(quiet):
        if first > 0 and last < len(quiet) and (last - first) * BLOCK_S < settings.quiet.joining_pause_s:
            moving[first:last] = True
    found = stretches(moving)
    begins = np.concatenate(([0], found[:-1, 1])) if len(found) else found[:, 0]
    still = np.concatenate(([0], np.cumsum(quiet)))
    stance_s = (still[found[:, 0]] - still[begins]) * BLOCK_S
    offset_s = blocks.start_s + lag_s
    motions = np.asarray(offset_s + found * BLOCK_S, dtype=np.float64)
    return Skate(blocks, lag_s, motions, np.asarray(stance_s), _spikes(blocks, lag_s, settings))


def _across_holes(
    quiet: NDArray[np.bool_], measured: NDArray[np.bool_], settings: FindingSettings
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Mark quiet and moving blocks; a short hole is quiet where both its neighbours are, else moving."""
    quiet = quiet & measured
    known = measured.copy()
    for first, last in stretches(~measured):
        if first > 0 and last < len(quiet) and (last - first) * BLOCK_S < settings.longest_hole_s:
            quiet[first:last] = quiet[first - 1] and quiet[last]
            known[first:last] = True
    return quiet, ~quiet & known


def _spikes(blocks: Blocks, lag_s: float, settings: FindingSettings) -> NDArray[np.float64]:
    """Time and size of sharp changes that stand alone, shape (k, 2)."""
    from scipy.ndimage import median_filter

    sharp = blocks.sharpest_m_s2
    usual = float(np.quantile(sharp[blocks.measured], 0.1))
    around = median_filter(sharp, round(2.0 / BLOCK_S) + 1, mode="nearest")
    smallest = max(settings.smallest_shock_m_s2, settings.noise_multiple * usual)
    at = np.flatnonzero(sharp > np.maximum(smallest, settings.lone_ratio * around))
    kept: list[int] = []
    for block in at:  # a shock rings into the next block
        if kept and blocks.sharpest_s[block] - blocks.sharpest_s[kept[-1]] < settings.apart_s:
            kept[-1] = int(block) if sharp[block] > sharp[kept[-1]] else kept[-1]
        else:
            kept.append(int(block))
    return np.stack((blocks.sharpest_s[kept] + lag_s, sharp[kept]), axis=1)


def pushing_s(skates: Sequence[Skate], start_s: float, settings: FindingSettings) -> float:
    """How long the feet turn as they do in pushing, from the start on [s]."""
    time_s = start_s + BLOCK_S * np.arange(round((settings.longest_sprint_s + 10.0) / BLOCK_S))
    rows = []
    for skate in skates:
        own_s = time_s - skate.lag_s
        first = skate.blocks.index(own_s[0])
        piece = skate.blocks.rotation_rad_s(slice(first, first + len(own_s)))
        rows.append(np.pad(piece, (0, len(own_s) - len(piece))))
    size = round(settings.smoothing_s / BLOCK_S)
    smooth = np.convolve(np.mean(rows, axis=0), np.ones(size) / size, "same")
    pushing = stretches(smooth > settings.pushing_rad_s)
    if not len(pushing) or pushing[0, 0] * BLOCK_S > settings.pause_s:
        return 0.0
    end = int(pushing[0, 1])
    for first, last in pushing[1:]:
        if (first - end) * BLOCK_S > settings.pause_s:
            break
        end = int(last)
    return end * BLOCK_S
