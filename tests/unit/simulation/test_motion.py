"""The motion obeys the ice, the leg and the sprint; checked with other formulas than it is made from."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride.simulation.drawing import draw
from imustride.simulation.motion import move
from imustride.simulation.run import front, gate_times

GRID_HZ = 4000.0
CASES = [("good", 1), ("good", 2), ("good", 4), ("poor", 3), ("real_ice", 5), ("real_ice", 7)]
CALM = {"skid_m_s": 0.0, "chatter_m_s": 0.0, "stumble_ratio": 0.0, "plough_deg": 0.0}


@pytest.fixture(scope="module", params=CASES, ids=lambda case: f"{case[0]}-{case[1]}")
def simulated(request):
    grade, seed = request.param
    drawn = draw(seed, grade, 0, CALM)
    return drawn, move(drawn)


def earth_from_segment(attitude, samples):
    angles = np.column_stack([attitude.yaw, attitude.pitch, attitude.roll])[samples]
    return Rotation.from_euler("ZYX", angles)


def blade_profile(skater):
    """Points of the running edge: the circle of the rocker closed up to the ends of an ellipse."""
    half, radius = skater.blade_length_m / 2, skater.rocker_radius_m
    height = half**2 / radius
    turn = np.linspace(-np.pi, 0, 721)
    return np.column_stack([half * np.cos(turn), np.zeros(721), height + height * np.sin(turn)])


def test_no_point_of_the_blade_is_under_the_ice_and_in_contact_the_lowest_touches_it(simulated):
    drawn, motion = simulated
    profile = blade_profile(drawn.skater)
    for foot in motion.feet.values():
        chosen = np.arange(0, len(foot.path.on_ice), 23)
        turns = earth_from_segment(foot.attitude, chosen).as_matrix()
        lowest = (turns[:, 2] @ profile.T).min(axis=1) + foot.path.place_m[chosen, 2]
        assert lowest.min() > -1e-4  # the polygon's chords hide 0.1 mm of the curve
        settled = foot.path.on_ice.copy()
        for step in foot.steps[1:]:
            first = int(step.contact.on_s * GRID_HZ) - 1
            settled[first : first + int(0.016 * GRID_HZ)] = False
        np.testing.assert_allclose(lowest[settled[chosen]], 0.0, atol=1e-4)


def test_the_blade_is_in_the_air_in_every_swing(simulated):
    for foot in simulated[1].feet.values():
        for step, following in pairwise(foot.steps):
            middle = int((step.contact.off_s + following.contact.on_s) / 2 * GRID_HZ)
            assert foot.path.clearance_m[middle] > 0.003
            assert not foot.path.on_ice[middle]


def test_the_touching_point_slides_along_the_blade_and_not_across_it(simulated):
    drawn, motion = simulated
    profile = blade_profile(drawn.skater)
    for foot in motion.feet.values():
        pushes = [step for step in foot.steps if step.contact.kind == "push"]
        for step in pushes:
            first, last = (int(t * GRID_HZ) for t in (step.contact.on_s + 0.025, step.contact.off_s - 0.005))
            for i in range(first, last, 37):
                turns = earth_from_segment(foot.attitude, [i - 1, i, i + 1]).as_matrix()
                point = profile[np.argmin(profile @ turns[1, 2])]
                if drawn.conditions.slip_point == "middle":
                    point = np.zeros(3)
                velocity = (
                    (turns[2] - turns[0]) @ point + foot.path.place_m[i + 1] - foot.path.place_m[i - 1]
                ) * (GRID_HZ / 2)
                running = np.cross(turns[1][:, 1], [0, 0, 1])
                running /= np.linalg.norm(running)
                across = np.cross([0, 0, 1], running) @ velocity
                assert abs(across) < 0.02  # the nearest of 721 points, at up to 20 rad/s
                assert running @ velocity > -0.02


def test_skid_is_outward_and_as_large_as_drawn():
    motion = move(draw(2, "good", 0, CALM | {"skid_m_s": 0.3, "slip_point": "middle", "tremor_deg": 0.0}))
    for side, outward in (("left", 1), ("right", -1)):
        foot = motion.feet[side]
        largest = []
        for step in foot.steps:
            if step.contact.kind == "push":
                on, off = (int(t * GRID_HZ) for t in (step.contact.on_s + 0.03, step.contact.off_s))
                largest.append((outward * foot.path.across_m_s[on:off]).max())
                assert (outward * foot.path.across_m_s[on:off]).min() > -1e-9
        assert 0.05 < max(largest) <= 0.3


def test_inside_edges_are_loaded_at_blade_off(simulated):
    motion = simulated[1]
    for side, sign in (("left", 1), ("right", -1)):
        foot = motion.feet[side]
        offs = [int(step.contact.off_s * GRID_HZ) for step in foot.steps if step.contact.kind == "push"]
        y_up = earth_from_segment(foot.attitude, offs).as_matrix()[:, 2, 1]
        assert np.all(np.degrees(np.arcsin(sign * y_up)) > 8)
        assert np.all(np.degrees(np.arcsin(sign * y_up)) < 60)


def test_pushes_are_directed_outward(simulated):
    motion = simulated[1]
    curve = np.max(np.abs(motion.body.heading_rad))
    for side, sign in (("left", 1), ("right", -1)):
        foot = motion.feet[side]
        for step in foot.steps:
            if step.contact.kind == "push" and step.glide_m_s > 1:
                on, off = int(step.contact.on_s * GRID_HZ), int(step.contact.off_s * GRID_HZ)
                way = foot.path.place_m[off] - foot.path.place_m[on]
                assert -curve < sign * np.arctan2(way[1], way[0]) < np.radians(45) + curve


def test_both_feet_stay_within_the_reach_of_a_leg(simulated):
    motion = simulated[1]
    first, last = int((motion.plan.pushes[0].off_s - 0.5) * GRID_HZ), int(motion.plan.push_end_s * GRID_HZ)
    for foot in motion.feet.values():
        away = foot.path.place_m[first:last, :2] - motion.body.place_m[first:last]
        assert np.hypot(*away.T).max() < 1.15
        assert foot.path.place_m[first:last, 2].max() < 0.4


def test_the_path_has_no_jump_in_speed_outside_landings(simulated):
    """Neighbouring accelerations differ by less than the jerk of a landing allows."""
    for foot in simulated[1].feet.values():
        acceleration = np.diff(foot.path.place_m, 2, axis=0) * GRID_HZ**2
        assert np.abs(acceleration).max() < 300
        assert np.abs(np.diff(acceleration, axis=0)).max() < 40  # 0.25 ms of the hardest landing's jerk


def test_a_foot_in_the_air_feels_no_impact():
    """The lowest point may change from toe to heel; the leg carries the skate smoothly all the same."""
    for seed in range(4):
        motion = move(
            draw(seed, "real_ice", 0, CALM | {"slap": True, "land_pitch_deg": -12.0, "lift_m": 0.1})
        )
        for foot in motion.feet.values():
            vertical = np.diff(foot.path.place_m[:, 2], 2) * GRID_HZ**2
            for step, following in pairwise(foot.steps):
                if step.contact.kind == "push":
                    off, on = step.contact.off_s, following.contact.on_s
                    middle = slice(
                        int((off + 0.3 * (on - off)) * GRID_HZ), int((off + 0.8 * (on - off)) * GRID_HZ)
                    )
                    assert np.abs(vertical[middle]).max() < 150


def test_speed_rises_like_a_sprint_and_the_distance_takes_four_to_seven_seconds():
    for seed in range(12):
        drawn = draw(seed, "good")
        motion = move(drawn)
        first, last = gate_times(*front(drawn, motion))
        assert 3.6 < last - first < 7.0
        assert 0 <= first - motion.plan.body_start_s < 1.2
        times = motion.plan.body_start_s + np.array([0.5, 1.5, 2.5, 3.5])
        speeds = motion.body.speed_m_s[(times * GRID_HZ).astype(int)]
        assert np.all(np.diff(speeds) > 0)
        assert np.all(np.diff(speeds, 2) < 0)
        assert 5.5 < motion.body.speed_m_s.max() < 9.6


def test_stance_is_quiet_and_long_enough(simulated):
    plan = simulated[1].plan
    assert plan.stance_s[1] - plan.stance_s[0] >= 3.0
    first, last = (int(t * GRID_HZ) for t in plan.stance_s)
    for foot in simulated[1].feet.values():
        assert np.ptp(foot.attitude.roll[first:last]) < np.radians(2.5)
        assert np.ptp(foot.path.place_m[first:last], axis=0).max() < 0.02


def test_between_11_and_24_pushes_of_alternating_feet(simulated):
    pushes = simulated[1].plan.pushes
    assert 11 <= len(pushes) <= 24
    assert all(a.side != b.side for a, b in pairwise(pushes))
    swings = [
        following.contact.on_s - step.contact.off_s
        for foot in simulated[1].feet.values()
        for step, following in pairwise(foot.steps)
    ]
    assert min(swings) > 0.19


def test_the_heel_rises_fastest_near_blade_off_as_led():
    for lead_s in (-0.04, 0.0, 0.04):
        calm = {"tremor_deg": 0.0, "rise_lead_s": lead_s, "profile_skew": 0.0, "rise_time_s": 0.1}
        motion = move(draw(11, "good", 0, CALM | calm | {"early_rise_deg": 0.0, "heel_up_ratio": 0.3}))
        leads = []
        for foot in motion.feet.values():
            rate = np.gradient(foot.attitude.pitch)
            for step in foot.steps:
                if step.contact.kind == "push":
                    near = np.arange(
                        int((step.contact.off_s - 0.1) * GRID_HZ), int((step.contact.off_s + 0.1) * GRID_HZ)
                    )
                    leads.append(near[np.argmax(rate[near])] / GRID_HZ - step.contact.off_s)
        assert np.mean(leads) == pytest.approx(lead_s, abs=0.006)
