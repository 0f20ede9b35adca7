"""What a metric sees: the pushes of one side of one run, on that side's own clock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.kinematics import BladePath, Kinematics
    from imustride.metrics.limbs import Limbs


@dataclass(frozen=True, eq=False, slots=True)
class OtherFoot:
    """What each push sees of the other foot, on that foot's own clock [s].

    Parameters
    ----------
    path : BladePath
        From the same fit as this foot's: their roots have the same columns.
    on_s : ndarray, shape (k,)
        Its blade-on that follows this blade-on; NaN where there is none.
    off_s : ndarray, shape (k,)
        Its first blade-off after this one; NaN where there is none.
    """

    path: BladePath
    on_s: NDArray[np.float64]
    off_s: NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class PushView:
    """Pushes of one side in order of time; all times on the side's own clock [s].

    Parameters
    ----------
    kinematics : Kinematics
    on_s, off_s : ndarray, shape (k,)
        Blade-on (NaN: standing) and blade-off (NaN: log end).
    next_on_s : ndarray, shape (k,)
        Next blade-on of the same foot; NaN where there is none.
    other_on_s : ndarray, shape (k,)
        Blade-on of the other foot that follows this blade-on; NaN where there is none or where the
        clocks could not be joined.
    path : BladePath or None
        Where the blade was; None where no path was fitted.
    other : OtherFoot or None
        None where the two feet have no paths in common.
    limbs : Limbs or None
        The rest of the body on the run's clock; None where nothing but skates was worn.
    """

    kinematics: Kinematics
    on_s: NDArray[np.float64]
    off_s: NDArray[np.float64]
    next_on_s: NDArray[np.float64]
    other_on_s: NDArray[np.float64]
    path: BladePath | None = None
    other: OtherFoot | None = None
    limbs: Limbs | None = None

    @property
    def nothing(self) -> NDArray[np.float64]:
        """No value for any push, shape (k,)."""
        return np.full(len(self.on_s), np.nan)

    @property
    def outward(self) -> float:
        """Sign of the lane's y axis that points outward for this foot."""
        return 1.0 if self.kinematics.side == "left" else -1.0

    def samples(
        self, from_s: NDArray[np.float64], to_s: NDArray[np.float64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return the first sample of each span of time and the one behind its last, clamped to the recording.

        Shape (k,) each; empty spans where a time is not known.
        """
        known = np.isfinite(from_s) & np.isfinite(to_s)
        times_s = np.where(known, (from_s, to_s), self.kinematics.start_s)
        places = np.round((times_s - self.kinematics.start_s) * self.kinematics.rate_hz)
        first, last = np.clip(places, 0, len(self.kinematics.measured)).astype(np.int64)
        return first, np.where(known, last + 1, first)


def any_in(flags: NDArray[np.bool_], first: NDArray[np.int64], stop: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether a flag is set in each span of samples, shape (k,)."""
    at = np.flatnonzero(flags)
    return np.asarray(np.searchsorted(at, stop) > np.searchsorted(at, first))
