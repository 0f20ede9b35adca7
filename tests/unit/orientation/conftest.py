"""Motions whose attitude is known in closed form."""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride.orientation import Rest

GRAVITY = np.array([0.0, 0.0, 9.81])


@dataclass(frozen=True, eq=False)
class Motion:
    """Rates [rad/s], specific force [m/s^2] and true attitude of a sensor that turns on the spot."""

    rate_hz: float
    gyro: np.ndarray
    force: np.ndarray
    truth: np.ndarray
    rest: Rest


def on_the_spot(rate_hz, gyro, truth, rest):
    return Motion(rate_hz, gyro, np.einsum("nji,j->ni", truth, GRAVITY), truth, rest)


def swinging(rate_hz, motion_s=6.0, still_s=3.0):
    """Turn about all three axes at 1 to 4 Hz between two stances.

    ``R = Rz(yaw) Ry(pitch) Rx(roll)``; each angle is a swing under a bell that starts and ends still.
    """
    time_s = np.arange(int((motion_s + 2 * still_s) * rate_hz)) / rate_hz - still_s
    inside = (time_s > 0) & (time_s < motion_s)
    turn = np.pi * time_s / motion_s
    bell = np.where(inside, np.sin(turn) ** 4, 0)
    slope = np.where(inside, 4 * np.pi / motion_s * np.sin(turn) ** 3 * np.cos(turn), 0)
    angles, rates = [], []
    for size, frequency_hz, phase in ((0.8, 1.0, 0.3), (0.9, 3.7, 1.0), (0.6, 1.9, 2.0)):
        argument = 2 * np.pi * frequency_hz * time_s + phase
        angles.append(size * bell * np.sin(argument))
        rates.append(size * (slope * np.sin(argument) + bell * 2 * np.pi * frequency_hz * np.cos(argument)))
    (_, pitch, roll), (yaw_rate, pitch_rate, roll_rate) = angles, rates
    gyro = np.column_stack(
        [
            roll_rate - yaw_rate * np.sin(pitch),
            pitch_rate * np.cos(roll) + yaw_rate * np.cos(pitch) * np.sin(roll),
            yaw_rate * np.cos(pitch) * np.cos(roll) - pitch_rate * np.sin(roll),
        ]
    )
    mounted = Rotation.from_rotvec([0.4, -2.2, 1.1]).as_matrix()
    truth = Rotation.from_euler("ZYX", np.column_stack(angles)).as_matrix() @ mounted
    stance = int(still_s * rate_hz)
    rest = Rest(slice(0, stance), slice(len(time_s) - stance, len(time_s)))
    return on_the_spot(rate_hz, gyro @ mounted, truth, rest)


def inclination_deg(found, true):
    """Largest angle between the found and the true vertical."""
    up, true_up = found[:, 2], true[:, 2]
    sine = np.linalg.norm(np.cross(up, true_up), axis=1)
    return np.rad2deg(np.arctan2(sine, np.sum(up * true_up, axis=1)).max())


@pytest.fixture
def worst_inclination_deg():
    return inclination_deg


@pytest.fixture
def swing():
    return swinging
