import numpy as np
import pytest

from imustride.calibration.coverage import FACES, UP, coverage, distinct


def test_six_faces():
    found = coverage(UP)
    assert (found.positions, found.directions) == (6, 6)
    np.testing.assert_allclose(found.nearest_deg, 0, atol=1e-5)
    # The corner of a cube lies acos(1 / sqrt(3)) = 54.74 degrees from its faces.
    assert found.largest_hole_deg == pytest.approx(54.74, abs=1.5)
    assert found.missing(65.0) == ()


@pytest.mark.parametrize("face", range(6))
def test_a_missing_face_is_named(face):
    assert coverage(np.delete(UP, face, axis=0)).missing(65.0) == (FACES[face],)


def test_positions_near_each_other_are_one_direction():
    near = np.array([[0, 0, 1], [np.sin(0.2), 0, np.cos(0.2)], [np.sin(0.3), 0, np.cos(0.3)]])
    assert distinct(near) == [0, 2]


def test_no_position():
    found = coverage(np.empty((0, 3)))
    assert (found.directions, found.largest_hole_deg) == (0, 180.0)
    assert found.missing(65.0) == FACES
