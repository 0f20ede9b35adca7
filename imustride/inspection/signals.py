"""What signals tell about a sensor without a unit being trusted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import Rest

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import Recording

BLOCK_S = 0.25
# A block is at rest where it is about as calm as the calmest tenth of the log, ...
CALM_QUANTILE = 0.1
CALM_FACTOR = 3.0
# ... and shakes by no more than this part of the usual acceleration, which is mostly gravity.
SHAKING_RATIO = 0.05
SHORTEST_REST_S = 1.0
# Turns are compared with gravity over this time; a turn must carry gravity by this angle [rad].
TURN_S = 0.4
SMALLEST_TURN_RAD = 0.15
FEWEST_TURNS = 8


def rest_blocks(recording: Recording) -> tuple[NDArray[np.bool_], int]:
    """Find blocks at rest, in any unit.

    Returns
    -------
    is_rest : ndarray of bool, shape (blocks,)
    size : int
        Samples in a block.
    """
    size = max(4, round(BLOCK_S * recording.rate_hz))
    count = len(recording.measured) // size
    if count < 2:
        return np.zeros(count, dtype=bool), size
    is_rest: NDArray[np.bool_] = np.all(recording.measured[: count * size].reshape(count, size), axis=1)
    for values in (recording.acceleration_m_s2, recording.angular_velocity_rad_s):
        blocks = _blocks(values, count, size)
        mean = blocks.mean(axis=1)
        square = np.einsum("bsa,bsa->b", blocks, blocks) / size - (mean**2).sum(axis=1)
        spread = np.sqrt(np.maximum(square, 0.0))
        is_rest &= spread <= CALM_FACTOR * np.quantile(spread, CALM_QUANTILE)
        if values is recording.acceleration_m_s2:
            usual = np.median(np.linalg.norm(mean, axis=1))
            is_rest &= spread <= SHAKING_RATIO * usual
    return is_rest, size


def _blocks(values: NDArray[np.float64], count: int, size: int) -> NDArray[np.float64]:
    return values[: count * size].reshape(count, size, 3)


def at_rest(recording: Recording) -> Rest | None:
    """Describe the sensor at rest; None where it never rests for `SHORTEST_REST_S`."""
    is_rest, size = rest_blocks(recording)
    duration_s = float(is_rest.sum()) * size / recording.rate_hz
    if duration_s < SHORTEST_REST_S:
        return None
    count = len(is_rest)
    acceleration = _blocks(recording.acceleration_m_s2, count, size)[is_rest]
    angular_velocity = _blocks(recording.angular_velocity_rad_s, count, size)[is_rest]
    mean = np.median(acceleration.mean(axis=1), axis=0)
    gravity = float(np.median(np.linalg.norm(acceleration.mean(axis=1), axis=1)))
    axis = int(np.argmax(np.abs(mean)))
    cosine = abs(mean[axis]) / max(float(np.linalg.norm(mean)), 1e-300)
    bias = np.median(angular_velocity.mean(axis=1), axis=0)
    return Rest(
        duration_s=duration_s,
        gravity=gravity,
        up=f"{'+' if mean[axis] >= 0 else '-'}{'xyz'[axis]}",
        tilt_deg=float(np.degrees(np.arccos(min(cosine, 1.0)))),
        acceleration_noise=float(np.sqrt(acceleration.var(axis=1).mean())),
        angular_velocity_noise=float(np.sqrt(angular_velocity.var(axis=1).mean())),
        angular_velocity_bias=(float(bias[0]), float(bias[1]), float(bias[2])),
    )


def gyroscope_scale(recording: Recording, rest: Rest | None) -> float | None:
    """Compare turns seen by the gyroscope with the turns of gravity.

    Parameters
    ----------
    recording : Recording
        In any unit.
    rest : Rest or None

    Returns
    -------
    float or None
        True angular velocity over the recorded one: 1 for rad/s, 0.017 for deg/s, negative for a
        reversed sign; None where gravity was never turned slowly enough to tell.

    Notes
    -----
    Gravity is fixed on Earth, so in sensor axes its change is minus the angular velocity times
    gravity (vector product), whatever the unit or sign of the acceleration. Only turns in which the
    length of the acceleration stays near gravity count; the scale is the median over them.
    """
    if rest is None or rest.gravity <= 0:
        return None
    size = max(4, round(TURN_S * recording.rate_hz))
    count = len(recording.measured) // size
    acceleration = _blocks(recording.acceleration_m_s2, count, size)
    length = np.sqrt(np.einsum("bsa,bsa->bs", acceleration, acceleration))
    calm = (np.abs(length - rest.gravity) < 0.1 * rest.gravity).all(axis=1)
    calm &= recording.measured[: count * size].reshape(count, size).all(axis=1)
    acceleration = acceleration[calm]
    rate = _blocks(recording.angular_velocity_rad_s, count, size)[calm] - np.array(rest.angular_velocity_bias)
    edge = max(1, size // 8)
    change = acceleration[:, -edge:].mean(axis=1) - acceleration[:, :edge].mean(axis=1)
    # Between the middles of the two edges lie size - edge samples.
    inner = slice(edge // 2, size - (edge - edge // 2))
    turned = -np.cross(rate[:, inner], acceleration[:, inner]).sum(axis=1) / recording.rate_hz
    telling = np.linalg.norm(change, axis=1) > SMALLEST_TURN_RAD * rest.gravity
    telling &= np.linalg.norm(turned, axis=1) > 0
    if telling.sum() < FEWEST_TURNS:
        return None
    change, turned = change[telling], turned[telling]
    ratios = (change * turned).sum(axis=1) / (turned**2).sum(axis=1)
    agreement = (change * turned).sum() / np.sqrt((change**2).sum() * (turned**2).sum())
    return float(np.median(ratios)) if abs(agreement) > 0.8 else None


def peak(values: NDArray[np.float64]) -> float:
    """Largest length of the rows of an array of shape (n, 3)."""
    return float(np.sqrt(np.einsum("ij,ij->i", values, values).max()))
