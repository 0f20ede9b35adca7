"""Where samples were lost: worked out by counting on a record of 200 Hz with nodes every fourth sample."""

import numpy as np
import pytest

from imustride.kinematics import Cut, Kinematics
from imustride.trajectory.losses import losses
from imustride.trajectory.settings import TrackSettings

RATE_HZ, COUNT = 200.0, 4000
NODES = slice(100, 3901, 4)
SETTINGS = TrackSettings()


@pytest.fixture
def found():
    def make(acceleration=(), turning=(), gaps=()):
        """Samples, counted from the first node, at the end of either range and not there at all."""
        clipped, measured = np.zeros((COUNT, 2), bool), np.ones(COUNT, bool)
        for kind, spans in enumerate((acceleration, turning)):
            for first, stop in spans:
                clipped[NODES.start + first : NODES.start + stop, kind] = True
        for first, stop in gaps:
            measured[NODES.start + first : NODES.start + stop] = False
        nothing = np.zeros((COUNT, 3))
        record = Kinematics(
            side="left", start_s=0.0, rate_hz=RATE_HZ, acceleration_m_s2=nothing, angular_velocity_rad_s=nothing,
            earth_from_segment=np.tile(np.eye(3), (COUNT, 1, 1)), velocity_m_s=nothing, measured=measured,
            clipped=clipped, cut=Cut((0.0, 0.4), (0.5, 19.0)),
        )  # fmt: skip
        return losses(record, NODES, SETTINGS)

    return make


def test_a_record_without_losses_has_no_unknowns(found):
    assert found().unknowns == 0
    assert found().spread(SETTINGS).tolist() == []


def test_each_kind_of_loss_brings_its_own_unknowns(found):
    # 10 samples are 50 ms, 6 are 30, 20 are 100: 0.1 m/s and 40 m/s^2 for as long.
    lost = found(acceleration=[(400, 410)], turning=[(800, 806)], gaps=[(1200, 1220)])
    # The last lost samples 409, 805, 1219 lie behind nodes 102, 201, 304.
    assert lost.node.tolist() == [103, 202, 305]
    assert lost.turns.tolist() == [False, True, True]
    assert lost.unknowns == 3 * 2 + 2 * 3
    turn = np.radians(3.0)
    assert lost.spread(SETTINGS) == pytest.approx([2.1, 2.1, 1.3, 1.3, 4.1, 4.1, *[turn] * 6])


def test_losses_closer_than_thirty_milliseconds_are_one(found):
    # Samples 403 and 409 lie 6 apart, 30 ms; 415 and 422 lie 7 apart. A stretch counts its lost samples only.
    lost = found(acceleration=[(400, 404), (409, 416), (422, 424)])
    assert lost.node.tolist() == [104, 106]
    assert lost.velocity_sd_m_s == pytest.approx([0.1 + 40 * 11 / 200, 0.1 + 40 * 2 / 200])


def test_of_many_losses_the_longest_are_kept_in_order_of_time(found):
    # Fifteen stretches of 1 to 15 samples, the long ones first: the shortest three come last and are left.
    spans = [(100 * k, 100 * k + 15 - k) for k in range(1, 15)] + [(1600, 1615)]
    lost = found(acceleration=spans)
    assert len(lost.node) == SETTINGS.most_losses
    assert lost.velocity_sd_m_s == pytest.approx(0.1 + 40 * np.array([*range(14, 3, -1), 15]) / 200)
    assert (np.diff(lost.node) > 0).all()


def test_a_loss_outside_the_nodes_does_not_count(found):
    assert found(acceleration=[(-50, -10)], gaps=[(3810, 3850)]).unknowns == 0
