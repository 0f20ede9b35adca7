"""Edge change and glide share, on paper: the blade lands at 5.0 s and leaves at 5.4 s."""

import numpy as np
import pytest

from imustride.metrics.edge_change import edge_changes
from imustride.metrics.glide_share_ratio import measure
from imustride.metrics.glide_share_ratio_sd import measure as measure_sd
from tests.unit.metrics.conftest import RATE_HZ


@pytest.fixture
def tilted(skate, view):
    """Make the view of a blade whose edge angle (inside positive) goes through points [s, deg]."""

    def make(points, side="left", **changes):
        at, edge = np.array(points, float).T
        time_s = np.arange(round(20 * RATE_HZ)) / RATE_HZ
        roll = np.radians(np.interp(time_s, at, edge)) * (1 if side == "left" else -1)
        attitude = np.tile(np.eye(3), (len(roll), 1, 1))
        attitude[:, 1, 1] = attitude[:, 2, 2] = np.cos(roll)
        attitude[:, 2, 1] = np.sin(roll)
        attitude[:, 1, 2] = -np.sin(roll)
        return view([5.4], skate(side, earth_from_segment=attitude, **changes))

    return make


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_blade_glides_until_it_tips_inward(tilted, side):
    # From -10 at 5.0 to 20 at 5.3: 100 deg/s, upright at 5.1: 0.1 of 0.4 s.
    seen = tilted([(5.0, -10), (5.3, 20), (5.4, 20)], side)
    assert measure(seen) == pytest.approx([0.25], abs=1e-3)
    # The change is known to 1 deg / 100 deg/s = 10 ms, blade-on to 0.75 x 10, blade-off to 0.25 x 14: 12.98 ms of 400.
    assert measure_sd(seen) == pytest.approx([0.03244], rel=0.01)


def test_of_several_changes_the_last_before_the_largest_edge_counts(tilted):
    # Inward for a moment at landing, outward to 5.2 (upright at 5.22), then in; outward again after the peak.
    seen = tilted([(5.0, -3), (5.04, 3), (5.1, -4), (5.2, -4), (5.3, 16), (5.35, -6), (5.4, 2)])
    assert edge_changes(seen).time_s == pytest.approx([5.22], abs=1e-3)


@pytest.mark.parametrize(
    "points",
    [
        [(5.0, 2), (5.3, 30)],  # inside edge all along
        [(5.0, -8), (5.4, -2)],  # outside edge all along
        [(5.0, 20), (5.2, -8), (5.4, 10)],  # from the inside edge out: the largest edge comes first
        [(5.0, -0.5), (5.2, 30)],  # less than is known of an edge angle
        [(5.0, -6), (5.4, 0.5)],
    ],
    ids=["inside", "outside", "outward", "nearly upright at first", "nearly upright at last"],
)
def test_without_a_change_there_is_no_share(tilted, points):
    seen = tilted(points)
    assert edge_changes(seen).seen.all()
    assert np.isnan(measure(seen)).all()
    assert np.isnan(measure_sd(seen)).all()


def test_in_a_gap_a_change_might_be_missed(tilted):
    measured = np.ones(round(20 * RATE_HZ), bool)
    measured[round(5.2 * RATE_HZ)] = False
    seen = tilted([(5.0, -10), (5.3, 20)], measured=measured)
    assert not edge_changes(seen).seen.any()
    assert np.isnan(measure(seen)).all()
