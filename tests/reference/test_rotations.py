"""The rotations of `frames` against scipy and ahrs, which know nothing of each other."""

import numpy as np
import pytest
from ahrs import Quaternion
from scipy.spatial.transform import Rotation

from imustride import frames


@pytest.fixture
def rotations():
    """Random rotations, and those at the corners: none, half turns, and nearly both."""
    turns = Rotation.random(200, random_state=np.random.default_rng(3)).as_rotvec()
    corners = [s * np.pi * axis for s in (0.0, 1e-9, 0.5, 1 - 1e-9, 1.0) for axis in np.eye(3)]
    return Rotation.from_rotvec(np.vstack([turns, corners]))


def test_matrices_of_quaternions(rotations):
    found = frames.matrix_from_quaternion(rotations.as_quat(scalar_first=True))
    assert found == pytest.approx(rotations.as_matrix(), abs=1e-14)
    by_ahrs = np.array([Quaternion(q).to_DCM() for q in rotations.as_quat(scalar_first=True)])
    assert found == pytest.approx(by_ahrs, abs=1e-14)


def test_quaternions_of_matrices(rotations):
    found = Rotation.from_quat(frames.quaternion_from_matrix(rotations.as_matrix()), scalar_first=True)
    assert (found * rotations.inv()).magnitude() == pytest.approx(np.zeros(len(rotations)), abs=1e-8)


def test_left_products(rotations):
    quaternions = rotations.as_quat(scalar_first=True)
    left = quaternions[7]
    found = quaternions @ frames.left_product(left).T
    by_ahrs = np.array([Quaternion(left).product(q) for q in quaternions])
    assert found == pytest.approx(by_ahrs, abs=1e-14)


def test_turns_about_the_vertical():
    for angle in np.linspace(-7, 7, 29):
        assert frames.about_z(angle) == pytest.approx(Rotation.from_euler("z", angle).as_matrix(), abs=1e-14)


def test_turns_about_vectors(rotations):
    found = frames.about_vectors(rotations.as_rotvec())
    assert found == pytest.approx(rotations.as_matrix(), abs=1e-14)
    assert frames.about_vector(rotations.as_rotvec()[7]) == pytest.approx(found[7], abs=1e-14)


def test_levelling_is_the_smallest_turn(rotations):
    for up in rotations.as_matrix()[:, 2]:
        found = Rotation.from_matrix(frames.level_from_gravity(up))
        assert found.apply(up) == pytest.approx([0, 0, 1], abs=1e-9)
        if up[2] > 0:  # below, a half turn about x comes first
            smallest = np.arctan2(np.hypot(up[0], up[1]), up[2])
            assert found.magnitude() == pytest.approx(smallest, abs=1e-9)


def test_angles_between_vectors(rotations):
    forward = np.tile([1.0, 0.0, 0.0], (len(rotations), 1))
    found = frames.angle_between(forward, rotations.apply(forward))
    dot = np.clip(rotations.as_matrix()[:, 0, 0], -1, 1)
    assert found == pytest.approx(np.arccos(dot), abs=3e-8)  # the arc cosine is that bad near zero
    assert frames.angle_between(np.array([1.0, 0, 0]), np.array([1.0, 1e-12, 0])) == pytest.approx(1e-12)
