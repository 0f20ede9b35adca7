"""The leg through each contact: the rig's formulas on paper, what is lost left out."""

from dataclasses import replace

import numpy as np
import pytest

from imustride.kinematics import Clock
from imustride.metrics.courses import PERCENT, leg_courses
from tests.body_rig import WELL, body, row, segment, table

CLOCKS = {"left": Clock(), "right": Clock()}


def courses(worn, clocks=CLOCKS):
    return leg_courses(table(worn), worn, clocks)


def of(found, side, push):
    return found[(found["side"] == side) & (found["push"] == push)]


@pytest.mark.parametrize(("side", "more_deg"), [("left", 0.0), ("right", 5.0)])
def test_courses_are_the_rigs_formulas(side, more_deg):
    """Contacts are half a turn of u: the shank does 30 + 10 sin u, and the knee, with the thigh at -40 - 10 cos u, 70 + 10 sin u + 10 cos u."""
    found = of(courses(body()), side, 2)
    u = np.pi * PERCENT / 100
    assert found["contact_percent"].tolist() == list(range(0, 101, 5))
    np.testing.assert_allclose(
        found["shank_inclination_deg"], 30 + more_deg + 10 * np.sin(u), atol=0.02, rtol=0
    )
    np.testing.assert_allclose(
        found["knee_flexion_deg"], 70 + more_deg + 10 * np.sin(u) + 10 * np.cos(u), atol=0.02, rtol=0
    )


def test_ends_are_those_of_the_table_of_pushes():
    worn = body()
    found, pushes = courses(worn), table(worn)
    assert set(found["push"]) == set(pushes["push"][pushes["blade_on_s"].notna()])
    for side in ("left", "right"):
        course, push = of(found, side, 3), row(pushes, side, 3)
        for angle in ("knee_flexion", "shank_inclination"):
            values = course[f"{angle}_deg"].to_numpy()
            assert values[0] == pytest.approx(push[f"{angle}_on_deg"], abs=0.02)
            assert values[-1] == pytest.approx(push[f"{angle}_off_deg"], abs=0.02)
            assert push["phase"] == course["phase"].iloc[0]


def test_a_contact_with_a_hole_is_left_out():
    found = courses(body(left_thigh=segment("left_thigh", hole_s=(4.35, 4.45))))
    assert of(found, "left", 2).empty
    assert len(of(found, "left", 3)) == len(of(found, "right", 2)) == len(PERCENT)


def test_without_a_thigh_there_is_the_shin_alone():
    found = courses(body("left_thigh"))
    assert of(found, "left", 2)["knee_flexion_deg"].isna().all()
    assert of(found, "left", 2)["shank_inclination_deg"].notna().all()
    assert of(found, "right", 2)["knee_flexion_deg"].notna().all()


def test_a_forward_axis_nobody_showed_gives_nothing():
    blind = segment("left_shank", fitting=replace(WELL, forward_sd_rad=np.inf))
    assert of(courses(body(left_shank=blind)), "left", 2).empty


def test_a_foot_whose_clock_stands_alone_has_no_courses():
    found = courses(body(), {"left": Clock(), "right": Clock(joined=False)})
    assert set(found["side"]) == {"left"}


def test_no_legs_no_rows():
    found = courses(body("left_shank", "right_shank", "left_thigh", "right_thigh"))
    assert found.empty
    assert "knee_flexion_deg" in found
