"""Take back contacts and lift-offs that no skate makes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.segmentation.counting import sample_count

if TYPE_CHECKING:
    from numpy.typing import NDArray

Found = list[tuple[int, int | None]]


@dataclass(frozen=True, slots=True)
class PlausibleSettings:
    """What landings and lift-offs look like (common practice, no source).

    A blade lands between toe-up and a little toe-down, and its heel rises as it leaves; a blade
    that slides sideways in a stop does neither.
    """

    steepest_landing_rad: float = np.radians(28.0)
    short_contact_s: float = 0.25
    least_lift_rate_rad_s: float = np.radians(60.0)
    least_lift_turn_rad: float = np.radians(8.0)
    before_s: float = 0.15
    after_s: float = 0.10


def plausible(
    found: Found,
    pitch_rad: NDArray[np.float64],
    pitch_rate_rad_s: NDArray[np.float64],
    rate_hz: float,
    settings: PlausibleSettings,
) -> Found:
    """Drop short contacts that begin far toe-down, then lift-offs without a rising heel.

    Parameters
    ----------
    found : list of (int, int or None)
        Contacts in samples.
    pitch_rad, pitch_rate_rad_s : ndarray, shape (n,)
        Toe-down positive.
    rate_hz : float
    settings : PlausibleSettings

    Returns
    -------
    list of (int, int or None)
    """
    kept = [
        (begin, end)
        for k, (begin, end) in enumerate(found)
        if k == 0
        or end is None
        or pitch_rad[begin] < settings.steepest_landing_rad
        or (end - begin) / rate_hz > settings.short_contact_s
    ]
    out = kept[:1]
    for begin, end in kept[1:]:
        lift = out[-1][1]
        if lift is None or rises(pitch_rad, pitch_rate_rad_s, (lift, begin), rate_hz, settings):
            out.append((begin, end))
        else:
            out[-1] = (out[-1][0], end)
    return out


def rises(
    pitch_rad: NDArray[np.float64],
    pitch_rate_rad_s: NDArray[np.float64],
    swing: tuple[int, int],
    rate_hz: float,
    settings: PlausibleSettings,
) -> bool:
    """Whether the heel rises around a lift-off or the skate pitches in the swing that follows."""
    lift, land = swing
    around = slice(
        max(lift - sample_count(settings.before_s, rate_hz), 0),
        lift + sample_count(settings.after_s, rate_hz),
    )
    turn = np.ptp(pitch_rad[lift : land + 1])
    return bool(
        pitch_rate_rad_s[around].max(initial=0.0) > settings.least_lift_rate_rad_s
        or turn > settings.least_lift_turn_rad
    )
