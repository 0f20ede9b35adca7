import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride.orientation.carried import gravity_carried_deg, product
from imustride.recording import Recording
from imustride.session import Sensor

RATE_HZ = 400.0


def turned(gain=1.0):
    """Stand 2 s, turn about changing axes for 6 s, stand 2 s: exact rates, gravity only."""
    time_s = np.arange(round(10 * RATE_HZ)) / RATE_HZ
    share = np.clip((time_s - 2) / 6, 0, 1)
    smooth = share**3 * (10 - 15 * share + 6 * share**2)
    angles = np.stack((4.0 * smooth, 1.1 * np.sin(5 * smooth), 2.0 * smooth**2), axis=1)
    attitude = Rotation.from_euler("ZYX", angles)
    fine = Rotation.from_matrix(attitude.as_matrix())
    turns = (fine[:-1].inv() * fine[1:]).as_rotvec() * RATE_HZ
    rate = np.zeros((len(time_s), 3))
    rate[1:-1] = 0.5 * (turns[:-1] + turns[1:])
    force = fine.inv().apply([0.0, 0.0, 9.81])
    return Recording(
        Sensor(place="left_skate"), 5.0, RATE_HZ, force, gain * rate + [0.01, -0.02, 0.005],
        np.ones(len(time_s), dtype=bool), np.zeros((len(time_s), 2), dtype=bool),
    )  # fmt: skip


SPANS = ((5.2, 6.8), (13.2, 14.8))


def test_a_good_gyroscope_carries_gravity():
    off, mirrored = gravity_carried_deg(turned(), *SPANS)
    assert off < 0.2
    assert mirrored > 20


def test_a_reversed_one_does_so_only_when_reversed_again():
    off, mirrored = gravity_carried_deg(turned(-1.0), *SPANS)
    assert off > 20
    assert mirrored < 0.2


@pytest.mark.parametrize("count", [1, 2, 7, 64, 101])
def test_the_product_keeps_the_order(count):
    turns = np.random.default_rng(count).normal(0, 0.3, (count, 3))
    one_by_one = np.eye(3)
    for turn in turns:
        one_by_one = one_by_one @ Rotation.from_rotvec(turn).as_matrix()
    np.testing.assert_allclose(product(turns), one_by_one, atol=1e-12)
