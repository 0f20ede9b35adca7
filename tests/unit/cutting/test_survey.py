"""Statistics of blocks: the same however the log comes in, and nothing but blocks is kept."""

from dataclasses import replace

import numpy as np
import pytest

from imustride.cutting.survey import BLOCK_S, Survey
from imustride.errors import SignalQualityError
from imustride.recording import SensorLog
from imustride.session import Sensor

RATE_HZ = 250.0


def log(seconds=20.0, start_s=7.03, seed=0):
    rng = np.random.default_rng(seed)
    count = round(seconds * RATE_HZ)
    return SensorLog(
        Sensor(place="left_skate"),
        start_s + np.arange(count) / RATE_HZ,
        rng.normal(0, 1, (count, 3)) + np.array([0.0, 0.0, 9.81]),
        rng.normal(0, 2, (count, 3)),
        "evening/left.h5",
    )


def rows(whole, piece):
    return replace(
        whole,
        time_s=whole.time_s[piece].copy(),
        acceleration_m_s2=whole.acceleration_m_s2[piece].copy(),
        angular_velocity_rad_s=whole.angular_velocity_rad_s[piece].copy(),
    )


def surveyed(*logs):
    survey = Survey()
    for one in logs:
        survey.add(one)
    return survey.blocks()


def test_a_block_holds_mean_and_spread_of_its_samples():
    whole = log()
    found = surveyed(whole)
    inside = np.floor((whole.time_s - found.start_s) / BLOCK_S) == 5
    assert found.count[5] == inside.sum() == pytest.approx(25, abs=1)
    np.testing.assert_allclose(found.rate_mean_rad_s[5], whole.angular_velocity_rad_s[inside].mean(axis=0))
    np.testing.assert_allclose(found.rate_sd_rad_s[5], whole.angular_velocity_rad_s[inside].std(axis=0))
    np.testing.assert_allclose(found.acceleration_sd_m_s2[5], whole.acceleration_m_s2[inside].std(axis=0))


@pytest.mark.parametrize("at", [100, 1013, 2500])
def test_blocks_are_the_same_whatever_the_pieces_of_reading(at):
    whole = log()
    one, two = surveyed(whole), surveyed(rows(whole, slice(0, at)), rows(whole, slice(at, None)))
    assert (one.count == two.count).all()
    np.testing.assert_allclose(one.rate_sd_rad_s, two.rate_sd_rad_s)


def test_a_blow_has_its_time():
    whole = log()
    force = whole.acceleration_m_s2.copy()
    force[1234] += [0.0, 0.0, 80.0]
    found = surveyed(replace(whole, acceleration_m_s2=force))
    block = found.index(whole.time_s[1234])
    assert found.sharpest_m_s2[block] == pytest.approx(80.0, abs=5.0)
    assert found.sharpest_s[block] == pytest.approx(whole.time_s[1234], abs=0.0045)
    assert np.delete(found.sharpest_m_s2, [block, block + 1]).max() < 12.0


def test_a_hole_is_blocks_without_samples_and_no_blow():
    whole = log()
    gap = np.r_[0:1000, 2000:5000]  # four seconds are lost
    force = whole.acceleration_m_s2.copy()
    force[2000:] += 60.0
    found = surveyed(rows(replace(whole, acceleration_m_s2=force), gap))
    assert (~found.measured).sum() == pytest.approx(40, abs=1)
    assert found.sharpest_m_s2.max() < 12.0
    assert found.end_s == pytest.approx(whole.time_s[-1], abs=2 * BLOCK_S)


def test_a_clock_that_is_set_back_or_runs_for_days_is_refused():
    with pytest.raises(SignalQualityError, match="set back by 20"):
        surveyed(log(), log())
    late = log(start_s=7.0 + 3 * 86400)
    with pytest.raises(SignalQualityError, match="unit of time"):
        surveyed(log(), late)


def test_next_to_nothing_is_no_log():
    with pytest.raises(SignalQualityError, match="less than a second"):
        surveyed(log(seconds=0.05))
