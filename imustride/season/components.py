"""Intervals of mean squares, of their sums and of their differences, 95 %.

The modified large-sample form: exact where one mean square alone counts, close to nominal in between.

References
----------
Burdick R. K., Graybill F. A. (1992) Confidence intervals on variance components. Dekker, New York (sums).
Ting N., Burdick R. K., Graybill F. A., Jeyaratnam S., Lu T.-F. C. (1990) Confidence intervals on linear
combinations of variance components that are unrestricted in sign. J. Stat. Comput. Simul. 35:135-143 (differences).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

LEVEL: Final = 0.95
UPPER: Final = 0.5 * (1.0 + LEVEL)


@dataclass(frozen=True, slots=True)
class MeanSquare:
    """A variance [unit squared] and its degrees of freedom."""

    value: float
    freedom: float

    def over(self, factor: float) -> MeanSquare:
        """Multiply by a constant."""
        return MeanSquare(self.value * factor, self.freedom)

    def reach(self) -> tuple[float, float]:
        """Return how far the interval reaches below and above, as shares of the value."""
        from scipy.special import chdtri

        high, low = chdtri(self.freedom, [1.0 - UPPER, UPPER])
        return float(1.0 - self.freedom / high), float(self.freedom / low - 1.0)


def of_sum(*parts: MeanSquare) -> tuple[float, float, float]:
    """Return the sum of independent mean squares and its interval."""
    value = sum(part.value for part in parts)
    below, above = np.sqrt(
        np.sum([np.square(part.reach()) * part.value**2 for part in parts], axis=0)
    ).tolist()
    return value, value - below, value + above


def of_difference(large: MeanSquare, small: MeanSquare) -> tuple[float, float, float]:
    """Return the difference of two independent mean squares and its interval, which may reach below zero."""
    from scipy.special import fdtri

    out = [large.value - small.value]
    for place, sign, share in ((0, -1.0, UPPER), (1, 1.0, 1.0 - UPPER)):
        of_large, of_small = large.reach()[place], small.reach()[1 - place]
        ratio = float(fdtri(large.freedom, small.freedom, share))
        joint = ((ratio - 1.0) ** 2 - of_large**2 * ratio**2 - of_small**2) / ratio
        squares = (
            of_large**2 * large.value**2 + of_small**2 * small.value**2 + joint * large.value * small.value
        )
        out.append(out[0] + sign * float(np.sqrt(max(squares, 0.0))))
    return out[0], out[1], out[2]
