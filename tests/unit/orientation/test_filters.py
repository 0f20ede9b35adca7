"""What every orientation filter keeps: one signature, one frame, the same refusals."""

import numpy as np
import pytest

from imustride.errors import SignalQualityError
from imustride.orientation import Rest
from imustride.registry import methods

FILTERS = methods("orientation")
EVERY = pytest.mark.parametrize("name", FILTERS)


def test_the_filters_are_there():
    assert set(FILTERS) == {"strapdown", "vqf", "madgwick", "mahony", "complementary"}
    assert all(method.source for method in FILTERS.values())


@EVERY
def test_earth_is_up_in_both_stances(swing, worst_inclination_deg, name):
    motion = swing(100.0)
    attitude = FILTERS[name].estimate(motion.gyro, motion.force, motion.rate_hz, motion.rest)
    assert attitude.shape == (len(motion.gyro), 3, 3)
    assert np.linalg.det(attitude) == pytest.approx(1)
    for stance in (motion.rest.before, motion.rest.after):
        late = slice(stance.start + len(attitude[stance]) // 2, stance.stop)
        # Mahony takes seconds to let go of what it took for bias: 4 degrees here.
        limit = {"mahony": 5.0, "madgwick": 1.5}.get(name, 0.1)
        assert worst_inclination_deg(attitude[late], motion.truth[late]) < limit


@EVERY
def test_the_given_rate_is_used(name):
    """A filter that fell back on a rate of its own would turn by another angle."""
    count, rate_hz = 700, 250.0
    gyro, force = np.zeros((count, 3)), np.tile([0.0, 0.0, 9.81], (count, 1))
    gyro[400:500, 0] = 1.0
    swung = np.concatenate([np.zeros(400), np.cumsum(gyro[400:, 0]) / rate_hz])
    force[:, 1], force[:, 2] = 9.81 * np.sin(swung), 9.81 * np.cos(swung)
    attitude = FILTERS[name].estimate(gyro, force, rate_hz, Rest(slice(0, 300)))
    turned = np.arctan2(attitude[600, 2, 1], attitude[600, 2, 2])
    assert turned == pytest.approx(0.4, abs=0.01)


@EVERY
def test_signals_are_not_changed(swing, name):
    motion = swing(50.0)
    gyro, force = motion.gyro.copy(), motion.force.copy()
    for signal in (gyro, force):
        signal.setflags(write=False)
    FILTERS[name].estimate(gyro, force, motion.rate_hz, motion.rest)
    assert np.array_equal(gyro, motion.gyro)
    assert np.array_equal(force, motion.force)


@EVERY
@pytest.mark.parametrize("signal", ["angular velocity", "acceleration"])
def test_a_missing_value_is_refused(swing, name, signal):
    motion = swing(50.0)
    spoiled = motion.gyro if signal == "angular velocity" else motion.force
    spoiled[200, 1] = np.nan
    with pytest.raises(SignalQualityError, match=f"1 samples of the {signal} .* sample 200"):
        FILTERS[name].estimate(motion.gyro, motion.force, motion.rate_hz, motion.rest)


@EVERY
def test_swapped_signals_and_wrong_units_are_refused(swing, name):
    motion = swing(50.0)
    estimate = FILTERS[name].estimate
    with pytest.raises(SignalQualityError, match="unit and the columns of the acceleration"):
        estimate(motion.force, motion.gyro, motion.rate_hz, motion.rest)
    with pytest.raises(SignalQualityError, match="unit and the columns of the acceleration"):
        estimate(motion.gyro, motion.force / 9.81, motion.rate_hz, motion.rest)
    with pytest.raises(SignalQualityError, match="rad/s, not deg/s"):
        estimate(np.rad2deg(motion.gyro + 0.02), motion.force, motion.rate_hz, motion.rest)


def test_shapes_rate_and_stance_are_checked(swing):
    motion = swing(50.0)
    estimate = FILTERS["strapdown"].estimate
    with pytest.raises(SignalQualityError, match=r"found shapes \(600, 3\).*\(599, 3\)"):
        estimate(motion.gyro, motion.force[:-1], 50.0, motion.rest)
    with pytest.raises(SignalQualityError, match=r"found shapes \(600, 2\)"):
        estimate(motion.gyro[:, :2], motion.force[:, :2], 50.0, motion.rest)
    with pytest.raises(SignalQualityError, match="rate of 0 Hz"):
        estimate(motion.gyro, motion.force, 0, motion.rest)
    with pytest.raises(SignalQualityError, match="stance of samples 700 to 800: found 0 samples"):
        estimate(motion.gyro, motion.force, 50.0, Rest(slice(700, 800)))


def test_integers_and_strided_arrays_are_taken(swing):
    motion = swing(50.0)
    wide = np.hstack([motion.gyro, motion.force])
    attitude = FILTERS["vqf"].estimate(wide[:, :3], wide[:, 3:], 50.0, motion.rest)
    assert np.array_equal(attitude, FILTERS["vqf"].estimate(motion.gyro, motion.force, 50.0, motion.rest))
