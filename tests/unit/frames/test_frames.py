"""Rotations worked out by hand."""

import numpy as np
import pytest

from imustride import frames


def test_a_quarter_turn_about_the_vertical_takes_forward_to_left():
    assert frames.about_z(np.pi / 2) @ [1, 0, 0] == pytest.approx([0, 1, 0], abs=1e-15)


@pytest.mark.parametrize(
    ("up", "forward_on_level"),
    [
        ([0, 0, 9.81], [1, 0, 0]),  # level: nothing to do
        ([9.81, 0, 0], [0, 0, 1]),  # x points up
        ([0, 9.81, 0], [1, 0, 0]),  # y points up: turned about x
        ([0, 0, -9.81], [1, 0, 0]),  # hanging: half a turn about x
    ],
)
def test_levelling_by_hand(up, forward_on_level):
    level_from_sensor = frames.level_from_gravity(np.array(up, dtype=float))
    assert level_from_sensor @ up == pytest.approx([0, 0, 9.81], abs=1e-12)
    assert level_from_sensor @ [1, 0, 0] == pytest.approx(forward_on_level, abs=1e-12)
    assert np.linalg.det(level_from_sensor) == pytest.approx(1)


def test_a_quaternion_of_a_third_of_a_turn_about_the_diagonal_swaps_the_axes_round():
    matrix = frames.matrix_from_quaternion(np.full((1, 4), 0.5))[0]
    assert matrix @ [1, 0, 0] == pytest.approx([0, 1, 0])
    assert matrix @ [0, 1, 0] == pytest.approx([0, 0, 1])
    assert frames.quaternion_from_matrix(matrix[np.newaxis])[0] == pytest.approx([0.5] * 4)


def test_products_of_every_two_matrices_are_ordered():
    # Forward to left, then left to up; and the other way round.
    level = frames.about_z(np.pi / 2)
    rolled = frames.about_vector(np.array([np.pi / 2, 0.0, 0.0]))
    found = frames.products(np.stack((rolled, level)), np.stack((level, rolled)))
    np.testing.assert_allclose(found @ [1, 0, 0], [[0, 0, 1], [0, 1, 0]], atol=1e-15)
    np.testing.assert_allclose(found @ [0, 1, 0], [[-1, 0, 0], [0, 0, 1]], atol=1e-15)


def test_the_quaternion_product_is_ordered():
    x, y, z = np.eye(4)[1:]
    assert frames.left_product(x) @ y == pytest.approx(z)
    assert frames.left_product(y) @ x == pytest.approx(-z)


def test_the_angle_does_not_depend_on_the_lengths():
    assert frames.angle_between(np.array([2.0, 0, 0]), np.array([3.0, 3.0, 0])) == pytest.approx(np.pi / 4)
    assert frames.angle_between(np.array([1.0, 0, 0]), np.array([-5.0, 0, 0])) == pytest.approx(np.pi)
