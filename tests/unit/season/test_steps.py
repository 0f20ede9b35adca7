import numpy as np
import pytest

from imustride.season.steps import all_steps, chance, chance_ratios


def by_place(steps):
    """Size, spread and what is left, by the first session at the new level and the one after the last."""
    return {
        (int(start), int(stop)): (size, spread, left)
        for start, stop, size, spread, left in zip(
            steps.start, steps.stop, steps.size, steps.spread, steps.left_over, strict=True
        )
    }


def test_steps_worked_out_on_paper():
    # 0 0 2 2: squares about the mean 4. Sessions 1 to 3 against session 0: 4/3, variance 1/3 + 1, takes 4/3.
    found = by_place(all_steps(np.array([0.0, 0.0, 2.0, 2.0]), np.ones(4)))
    assert found.keys() == {(1, 3), (1, 4), (2, 4)}
    assert found[1, 3] == pytest.approx((0.0, 1.0, 4.0))
    assert found[1, 4] == pytest.approx((4 / 3, 4 / 3, 8 / 3))
    assert found[2, 4] == pytest.approx((2.0, 1.0, 0.0))


def test_a_session_of_half_the_variance_counts_twice():
    # Level after: (2 x 3 + 1 x 0) / 3 = 2, before: 0; variance 1/3 + 1/2.
    found = by_place(all_steps(np.array([0.0, 0.0, 3.0, 0.0]), np.array([1.0, 1.0, 2.0, 1.0])))
    assert found[2, 4][:2] == pytest.approx((2.0, 5 / 6))


def test_a_change_for_a_while_is_found():
    level = np.array([5.0, 5.1, 7.0, 7.1, 7.0, 5.0, 5.1, 5.0])
    steps = all_steps(level, np.ones(8))
    best = steps.best()
    assert (steps.start[best], steps.stop[best]) == (2, 5)
    assert steps.size[best] == pytest.approx(np.mean([7.0, 7.1, 7.0]) - np.mean([5.0, 5.1, 5.0, 5.1, 5.0]))


def test_one_odd_session_inside_is_no_step():
    steps = all_steps(np.array([0.0, 0.0, 9.0, 0.0, 0.0, 0.0]), np.ones(6))
    assert (steps.stop - steps.start).min() == 2
    assert steps.left_over.min() > 0.0


def test_a_far_level_costs_no_accuracy():
    near = all_steps(np.array([0.0, 0.5, 2.0, 1.0, 0.25]), np.ones(5))
    far = all_steps(1e9 + np.array([0.0, 0.5, 2.0, 1.0, 0.25]), np.ones(5))
    np.testing.assert_allclose(far.size, near.size, rtol=1e-6)


def test_chance_of_four_sessions_has_three_degrees_of_freedom():
    taken, left_over = chance(4)
    # Chi-square with 3 degrees of freedom: mean 3, variance 6; 20 000 draws: standard error 0.017.
    assert (taken + left_over).mean() == pytest.approx(3.0, abs=0.07)
    assert (left_over >= 0.0).all()


def test_a_well_known_variance_leaves_only_the_choice_among_steps():
    # Known variance: the largest of some squares of standard normals is above one of them, whose 95 % is 3.84,
    # and below their number (Bonferroni: 21 steps, 9.14).
    limit = np.quantile(chance_ratios(8, 1e6), 0.95)
    assert 3.84 < limit < 9.14
    assert np.quantile(chance_ratios(8, 0.0), 0.95) > 2.0 * limit
