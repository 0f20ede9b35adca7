"""Where a sensor did not tell all: samples at the end of its range, and gaps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.kinematics import Kinematics
    from imustride.trajectory.settings import TrackSettings


@dataclass(frozen=True, eq=False, slots=True)
class Losses:
    """Stretches of lost samples: after each the velocity has jumped, and where turns were lost the attitude too.

    Parameters
    ----------
    node : ndarray of int, shape (k,)
        First node behind each.
    velocity_sd_m_s : ndarray, shape (k,)
    turns : ndarray of bool, shape (k,)
    """

    node: NDArray[np.int64]
    velocity_sd_m_s: NDArray[np.float64]
    turns: NDArray[np.bool_]

    @property
    def unknowns(self) -> int:
        """How many unknowns the losses bring: two velocities each, three turns where turns were lost."""
        return 2 * len(self.node) + 3 * int(self.turns.sum())

    def spread(self, settings: TrackSettings) -> NDArray[np.float64]:
        """Spread of the unknowns: velocities in pairs [m/s], then turns in threes [rad]."""
        jumps = np.repeat(self.velocity_sd_m_s, 2)
        return np.concatenate((jumps, np.full(3 * int(self.turns.sum()), settings.lost_turn_sd_rad)))


def losses(kinematics: Kinematics, nodes: slice, settings: TrackSettings) -> Losses:
    """Find the stretches of lost samples among nodes; the longest ones where there are many."""
    clipped = kinematics.clipped[nodes.start : nodes.stop]
    gap = ~kinematics.measured[nodes.start : nodes.stop]
    turning = gap | clipped[:, 1]
    lost = turning | clipped[:, 0]
    joined = np.flatnonzero(lost)
    if not len(joined):
        return Losses(np.zeros(0, np.int64), np.zeros(0), np.zeros(0, bool))
    apart = np.flatnonzero(np.diff(joined) > settings.loss_apart_s * kinematics.rate_hz) + 1
    pieces = np.split(joined, apart)
    kept = sorted(sorted(pieces, key=len)[-settings.most_losses :], key=lambda piece: int(piece[0]))
    seconds = np.array([len(piece) for piece in kept]) / kinematics.rate_hz
    return Losses(
        np.array([int(piece[-1]) // nodes.step + 1 for piece in kept]),
        settings.lost_velocity_sd_m_s + settings.lost_acceleration_m_s2 * seconds,
        np.array([bool(turning[piece].any()) for piece in kept]),
    )
