"""Moving averages, plain and robust."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def smoothed(values: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """Centred moving average over an odd number of samples, ends repeated, shape (n,)."""
    width |= 1
    if width < 3:
        return values
    total = np.empty(len(values) + width)
    first, last = width // 2 + 1, width // 2 + 1 + len(values)
    total[:first], total[first:last], total[last:] = values[0], values, values[-1]
    np.cumsum(total, out=total)
    out = total[width:] - total[:-width]
    out /= width
    return out


def triangle(values: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """Triangular moving average, `width` samples wide at half height."""
    half = max(width // 2, 1)
    return smoothed(smoothed(values, half), half)


def steady_level(
    values: NDArray[np.float64], width: int, scale: float, first: NDArray[np.float64], steps: int = 4
) -> NDArray[np.float64]:
    """Slow level of a signal that mostly keeps to it and leaves it for a while, shape (n,).

    A moving average in which samples far from the level, measured by `scale`, count little.
    """
    level = first
    for _ in range(steps):
        weight = 1 / (1 + ((values - level) / scale) ** 2) ** 2
        level = triangle(weight * values, width) / (triangle(weight, width) + 1e-9)
    return level
