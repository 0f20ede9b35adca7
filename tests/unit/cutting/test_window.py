import numpy as np
import pytest

from imustride.cutting.window import window
from imustride.recording import Recording
from imustride.session import Sensor


@pytest.fixture
def recording():
    """Ten seconds at 100 Hz from 5 s on; the first axis holds the time."""
    time_s = 5 + np.arange(1000) / 100
    values = np.tile(time_s[:, None], (1, 3))
    return Recording(
        Sensor(place="left_skate"),
        5.0,
        100.0,
        values,
        values.copy(),
        np.ones(1000, bool),
        np.zeros((1000, 2), bool),
    )


@pytest.mark.parametrize(
    ("from_s", "to_s", "first", "last"),
    [(7.0, 9.0, 7.0, 9.0), (7.003, 9.003, 7.01, 9.0), (-np.inf, 6.0, 5.0, 6.0), (14.0, np.inf, 14.0, 14.99)],
)
def test_samples_keep_their_times(recording, from_s, to_s, first, last):
    piece = window(recording, from_s, to_s)
    assert piece.time_s[[0, -1]] == pytest.approx([first, last])
    np.testing.assert_allclose(piece.acceleration_m_s2[:, 0], piece.time_s)
    assert len(piece.measured) == len(piece.clipped) == len(piece.time_s)


@pytest.mark.parametrize(("from_s", "to_s"), [(0.0, 4.0), (16.0, 20.0), (7.001, 7.009), (9.0, 7.0)])
def test_nothing_is_left_outside(recording, from_s, to_s):
    assert window(recording, from_s, to_s) is None
