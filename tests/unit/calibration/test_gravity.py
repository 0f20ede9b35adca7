import pytest
from ahrs.utils import WGS

from imustride.calibration import local_gravity_m_s2


@pytest.mark.parametrize(
    ("latitude_deg", "expected_m_s2"),
    # Normal gravity of WGS-84 (NGA.STND.0036), tabled to 6 decimals.
    [(0, 9.780325), (40, 9.801697), (45, 9.806198), (65, 9.822889), (90, 9.832185)],
)
def test_normal_gravity(latitude_deg, expected_m_s2):
    assert local_gravity_m_s2(latitude_deg) == pytest.approx(expected_m_s2, abs=6e-7)
    assert local_gravity_m_s2(-latitude_deg) == local_gravity_m_s2(latitude_deg)


@pytest.mark.parametrize("latitude_deg", range(0, 91, 10))
def test_an_independent_implementation_agrees(latitude_deg):
    assert local_gravity_m_s2(latitude_deg) == pytest.approx(WGS().normal_gravity(latitude_deg), abs=1e-8)


def test_gravity_falls_with_height():
    # 3.086e-6 per metre of height; a rink at 1600 m.
    assert local_gravity_m_s2(40, 1600) == pytest.approx(9.801697 - 0.0049376, abs=1e-6)
    assert local_gravity_m_s2(40, 1600) == pytest.approx(WGS().normal_gravity(40, 1600), abs=2e-5)


def test_standard_gravity_stands_in_where_nobody_knows_the_latitude():
    assert local_gravity_m_s2(None) == 9.80665
