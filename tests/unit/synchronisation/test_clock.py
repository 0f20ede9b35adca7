import numpy as np

from imustride.kinematics import Clock


def test_the_own_clock_of_a_time_on_the_reference_clock_is_the_one_it_came_from():
    clock = Clock(offset_s=-12.5, drift=80e-6, at_s=7.0)
    own_s = np.array([0.0, 7.0, 300.0])
    np.testing.assert_allclose(clock.reference(7.0), -5.5)
    np.testing.assert_allclose(clock.own(clock.reference(own_s)), own_s, rtol=0, atol=1e-10)
