"""Evidence from motion: a blade on the ice slides along itself and does not rise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.segmentation.contact_point import Sliding


@dataclass(frozen=True, slots=True)
class SlidingSettings:
    """How fast a blade on the ice may seem to slip and rise, and how fast one in the air does.

    Real blades skid up to 0.4 m/s; drifting velocities add to it (common practice, no source).
    """

    slip_on_m_s: float = 0.35
    slip_off_m_s: float = 1.5
    rise_on_m_s: float = 0.12
    rise_off_m_s: float = 0.7
    largest_odds: float = 4.0
    independent_s: float = 0.04


def log_odds(value: NDArray[np.float64], on_sd: float, off_sd: float, largest: float) -> NDArray[np.float64]:
    """Log odds of a value under a narrow density against a wide one, bounded from below."""
    odds = np.log(off_sd / on_sd) - 0.5 * value**2 * (on_sd**-2 - off_sd**-2)
    return np.asarray(np.maximum(odds, -largest))


def sliding_evidence(motion: Sliding, rate_hz: float, settings: SlidingSettings) -> NDArray[np.float64]:
    """Log odds per sample that the blade is on the ice, shape (n,)."""
    odds = log_odds(motion.slip_m_s, settings.slip_on_m_s, settings.slip_off_m_s, settings.largest_odds)
    odds = np.where(motion.known, odds, 0.0)
    odds += log_odds(motion.rise_m_s, settings.rise_on_m_s, settings.rise_off_m_s, settings.largest_odds)
    return odds / (settings.independent_s * rate_hz)
