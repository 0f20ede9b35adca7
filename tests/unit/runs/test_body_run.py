"""Sensors of the body in a run whose motion is a formula: clocks, stances, headings, and what is told where one fails."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride.body_run import RunFrame, Worn, body_notes, body_of_run, facing, through
from imustride.kinematics import BodyPath, Clock, Cut
from imustride.recording import Recording
from imustride.segments import Body, Fitting, Lengths
from imustride.session import Sensor
from imustride.settings import Settings

# Two blows, a stance, then motion; times on the skate's clock [s].
BLOWS_S, STANCE_S, START_S, END_S = (2.0, 2.7), (4.0, 7.0), 7.0, 15.0
STRIDE_S = 0.8
# The blow runs up the body: 6 ms to the pelvis.
LATER_S = {"left_skate": 0.0, "pelvis": 0.006, "trunk": 0.008, "left_shank": 0.002, "head": 0.010}
SEATED = Rotation.random(4, random_state=3).as_matrix()  # segment_from_sensor
RUN_FROM_SKATE = Clock(offset_s=-3.0, drift=2e-5, at_s=8.0)


def begun(time_s):
    """From 0 to 1 within half a second of the start, without a jump."""
    share = np.clip((time_s - START_S) / 0.5, 0, 1)
    return share**2 * (3 - 2 * share)


def lane_from_segment(time_s):
    """In the stance it leans 20 degrees forward along the lane; then it turns by 15 degrees and nods by 10."""
    turn = 15 * begun(time_s) * np.sin(2 * np.pi * (time_s - START_S) / STRIDE_S)
    nod = 20 + 10 * begun(time_s) * np.sin(4 * np.pi * (time_s - START_S) / STRIDE_S)
    return Rotation.from_euler("ZY", np.column_stack((turn, nod)), degrees=True)


def speed_m_s(time_s):
    since = np.maximum(time_s - START_S, 0)
    return 7 * (1 - np.exp(-(since**2) / (since + 1.0)))


def sway_m(time_s):
    """Across the lane and upwards: nowhere on the mean over a stride."""
    phase = 2 * np.pi * (time_s - START_S) / STRIDE_S
    return begun(time_s)[:, None] * np.column_stack((0.08 * np.sin(phase), 0.02 * np.sin(2 * phase)))


def acceleration(time_s, step_s=1e-3):
    """Along the lane as the speed rises, across and up as it sways."""
    along = (speed_m_s(time_s + step_s) - speed_m_s(time_s - step_s)) / (2 * step_s)
    sway = (sway_m(time_s + step_s) - 2 * sway_m(time_s) + sway_m(time_s - step_s)) / step_s**2
    return np.column_stack((along, sway))


def blow(time_s, later_s, size=30.0):
    since = time_s[:, None] - np.array(BLOWS_S) - later_s
    ring = np.exp(-np.maximum(since, 0) / 0.012) * np.sin(2 * np.pi * 45 * since) * (since > 0)
    return size * ring.sum(axis=1)


def logged(place, clock=None, seated=SEATED[0], rate_hz=400.0, from_s=0.5, to_s=END_S, blows=30.0, **changes):
    """A sensor's recording; `clock` goes from its own clock to the skate's."""
    clock = clock or Clock()
    begin, end = (float(clock.own(np.array(at_s))) for at_s in (from_s, to_s))
    own_s = begin + np.arange(round((end - begin) * rate_hz)) / rate_hz
    time_s = np.asarray(clock.reference(own_s))
    attitude = lane_from_segment(time_s)
    later = lane_from_segment(time_s + 1e-4)
    rate = (attitude.inv() * later).as_rotvec() * 1e4
    force = acceleration(time_s) + np.array([0.0, 0.0, 9.81])
    force[:, 2] += blow(time_s, LATER_S[place], blows)
    rng = np.random.default_rng(len(place))
    made = {
        "acceleration_m_s2": attitude.inv().apply(force) @ seated + rng.normal(0, 0.02, force.shape),
        "angular_velocity_rad_s": rate @ seated + rng.normal(0, 0.002, rate.shape),
        "measured": np.ones(len(own_s), bool),
        "clipped": np.zeros((len(own_s), 2), bool),
    }
    return Recording(Sensor(place=place), begin, rate_hz, **{**made, **changes})


def body_path():
    time_s = np.arange(0.0, END_S - 1, 0.02)
    one = np.ones(len(time_s))
    speed = speed_m_s(np.asarray(RUN_FROM_SKATE.own(time_s)))
    return BodyPath(
        time_s, np.cumsum(speed) * 0.02, speed, 0.1 * one, one[:, None], one[:, None], np.zeros(0), np.zeros(0), np.zeros(0)
    )  # fmt: skip


@pytest.fixture(scope="module")
def skate():
    return logged("left_skate")


@pytest.fixture(scope="module")
def frame(skate):
    return RunFrame(skate, Cut(STANCE_S, (START_S, END_S)), RUN_FROM_SKATE, body_path(), STRIDE_S)


def well(seated):
    return Fitting(seated, upright=True, forward_sd_rad=0.03, movements=2)


def found(frame, *recordings, fittings=None):
    worn = {each.place: each for each in (frame.recording, *recordings)}
    return body_of_run(worn, frame, Worn(fittings or {}), Settings())


def off_deg(segment, at_s):
    """How far its attitude is from the formula at times of the skate's clock [deg]."""
    seen = segment.attitude(np.asarray(RUN_FROM_SKATE.reference(at_s)))
    return np.degrees((lane_from_segment(at_s).inv() * Rotation.from_matrix(seen)).magnitude())


MIDDLE_S = np.arange(8.0, 14.0, 0.05)


@pytest.mark.parametrize("seated", SEATED)
def test_a_sensor_sitting_any_way_is_put_into_the_lane(frame, seated):
    body = found(frame, logged("pelvis", seated=seated), fittings={"pelvis": well(seated)})
    assert body.problems == {}
    assert body_notes(body) == ()
    segment = body.segments["pelvis"]
    assert off_deg(segment, MIDDLE_S).max() < 1.5
    assert 0 < segment.heading_sd_rad < np.radians(5)


def test_its_place_swings_as_it_did(frame):
    """By hand: acceleration across the lane is at most 0.08 (2 pi / 0.8)^2 = 4.93 m/s^2, upwards 0.02 (4 pi / 0.8)^2 as much."""
    segment = found(frame, logged("pelvis"), fittings={"pelvis": well(SEATED[0])}).segments["pelvis"]
    own_s = segment.start_s + np.arange(len(segment.measured)) / segment.rate_hz
    moving = (own_s > 9) & (own_s < 14)
    wanted = acceleration(own_s)[moving]
    np.testing.assert_allclose(wanted[:, 1:].max(axis=0), 4.93, atol=0.01)
    np.testing.assert_allclose(segment.acceleration_m_s2[moving, 1], wanted[:, 1], atol=0.35)
    np.testing.assert_allclose(segment.acceleration_m_s2[moving, 2], wanted[:, 2], atol=0.35)


@pytest.mark.parametrize(
    "clock", [Clock(offset_s=-812.0, drift=5e-5, at_s=820.0), Clock(offset_s=2.5, drift=-4e-5, at_s=5.0)]
)
@pytest.mark.parametrize("rate_hz", [200.0, 500.0])
def test_its_clock_is_joined_to_that_of_the_run_through_the_skates(frame, clock, rate_hz):
    """Drift of quartz is believed to be small and not measured by blows a second apart: 4 ms over the run at most."""
    segment = found(
        frame, logged("pelvis", clock, rate_hz=rate_hz), fittings={"pelvis": well(SEATED[0])}
    ).segments["pelvis"]
    at_s = np.array([2.0, 7.0, 14.0])
    wanted = np.asarray(RUN_FROM_SKATE.reference(at_s))
    np.testing.assert_allclose(segment.clock.reference(clock.own(at_s)), wanted, atol=4e-3)
    assert abs(segment.clock.reference(clock.own(at_s[:1])) - wanted[0]) < 3e-3
    assert off_deg(segment, MIDDLE_S).max() < 2.0


def test_through_two_clocks_on_paper():
    """Own 100 s is 100 + 5 + 0.01 (100 - 50) = 105.5 on the first clock, 105.5 - 3 + 0.02 (105.5 - 10) = 104.41 on the run's."""
    inner, outer = Clock(5.0, 0.01, 50.0, 0.003), Clock(-3.0, 0.02, 10.0, 0.004)
    both = through(outer, inner)
    assert both.reference(100.0) == pytest.approx(104.41)
    assert both.own(np.array(104.41)) == pytest.approx(100.0)
    assert both.sd_s == pytest.approx(0.005)
    assert both.joined
    assert not through(Clock(joined=False), inner).joined


def test_who_moves_in_the_stance_is_named_and_the_others_stand(frame):
    restless = logged("trunk")
    turning = restless.angular_velocity_rad_s.copy()
    time_s = restless.time_s
    turning[(time_s > 3.5) & (time_s < 7)] += np.sin(40 * time_s[(time_s > 3.5) & (time_s < 7)])[:, None]
    body = found(frame, replace(restless, angular_velocity_rad_s=turning), logged("pelvis"))
    assert set(body.segments) == {"pelvis"}
    assert "trunk: it moved, or was not logged, while the feet stood still" in body.problems["trunk"]
    assert body.problems["trunk"] in body_notes(body)


def test_who_shares_no_blow_is_named_and_the_others_stand(frame):
    body = found(frame, logged("trunk", Clock(offset_s=50.0), blows=0.0), logged("pelvis"))
    assert set(body.segments) == {"pelvis"}
    assert "trunk: no shock was shared with the skates" in body.problems["trunk"]


@pytest.mark.parametrize(("from_s", "to_s"), [(0.5, 7.02), (0.5, 7.4)])
def test_a_log_that_ends_at_the_start_has_no_heading(frame, from_s, to_s):
    body = found(frame, logged("pelvis", from_s=from_s, to_s=to_s))
    if body.segments:
        assert body.segments["pelvis"].heading_sd_rad > np.radians(8)
        assert "pelvis: which way they face is not known" in "".join(body_notes(body))
    else:
        assert "pelvis" in body.problems


def test_a_log_that_begins_after_the_stance_is_said_not_to_have_been_logged_then(frame):
    body = found(frame, logged("pelvis", from_s=6.8, blows=30.0))
    assert body.segments == {}
    assert body.problems["pelvis"].startswith("pelvis: ")


def test_a_hole_in_the_stance_leaves_the_longer_part_of_it(frame):
    whole = logged("pelvis")
    measured = (whole.time_s < 5.2) | (whole.time_s > 5.3)
    body = found(frame, replace(whole, measured=measured), fittings={"pelvis": well(SEATED[0])})
    assert body.problems == {}
    assert off_deg(body.segments["pelvis"], MIDDLE_S).max() < 2.0


@pytest.mark.parametrize(("lasts_s", "lost"), [(0.05, False), (0.4, True)])
def test_behind_a_hole_in_which_its_turn_is_lost_nothing_is_told(frame, lasts_s, lost):
    """It turns by some 140 degrees a second: of 0.4 s a fifth of 56 degrees is too much to guess, of 0.05 s 1.4 are not."""
    whole = logged("pelvis")
    hole = (whole.time_s > 10.0) & (whole.time_s < 10.0 + lasts_s)
    turning = whole.angular_velocity_rad_s.copy()
    inside = np.flatnonzero(hole)
    edges = turning[[inside[0] - 1, inside[-1] + 1]]
    turning[hole] = edges[0] + np.linspace(0, 1, len(inside))[:, None] * (edges[1] - edges[0])
    holed = replace(whole, measured=~hole, angular_velocity_rad_s=turning)
    segment = found(frame, holed, fittings={"pelvis": well(SEATED[0])}).segments["pelvis"]
    assert off_deg(segment, MIDDLE_S[MIDDLE_S < 9.9]).max() < 2.5
    after = MIDDLE_S[MIDDLE_S > 10.5]
    seen = segment.attitude(np.asarray(RUN_FROM_SKATE.reference(after)))
    assert np.isnan(seen).all() == lost
    assert np.isfinite(seen).all() == (not lost)


def test_without_a_path_nobody_knows_the_heading_and_the_tilt_stays(frame):
    body = found(replace(frame, path=None), logged("trunk"), fittings={"trunk": well(SEATED[0])})
    segment = body.segments["trunk"]
    assert segment.heading_sd_rad == np.inf
    assert segment.fitting.problem == ""
    assert body_notes(body) == ("trunk: which way they face is not known: what lies in the lane stays empty",)
    seen = segment.attitude(np.asarray(RUN_FROM_SKATE.reference(MIDDLE_S)))
    np.testing.assert_allclose(seen[:, 2, 0], lane_from_segment(MIDDLE_S).as_matrix()[:, 2, 0], atol=0.03)


@pytest.mark.parametrize("seated", SEATED)
def test_without_a_squat_it_faces_along_the_lane_in_the_stance(frame, seated):
    """Standing straight showed the long axis only: whatever was taken for forward does not count."""
    turned = Rotation.from_euler("z", 130, degrees=True).as_matrix() @ seated
    unknown = Fitting(turned, upright=True, forward_sd_rad=np.inf)
    body = found(frame, logged("trunk", seated=seated), fittings={"trunk": unknown})
    assert off_deg(body.segments["trunk"], MIDDLE_S).max() < 2.0
    assert "trunk: no standing straight and squats show how they sit" in body_notes(body)[0]


@pytest.mark.parametrize("seated", SEATED)
def test_without_any_movement_the_stance_gives_the_vertical_and_the_lane(frame, seated):
    segment = found(frame, logged("trunk", seated=seated)).segments["trunk"]
    assert not segment.fitting.upright
    assert segment.fitting.forward_sd_rad == np.inf
    standing = segment.attitude(np.asarray(RUN_FROM_SKATE.reference(np.array([5.0, 6.0]))))
    np.testing.assert_allclose(standing, np.tile(np.eye(3), (2, 1, 1)), atol=0.03)


@pytest.mark.parametrize("yaw_deg", [0.0, 70.0, 170.0, -100.0])
def test_facing_by_hand(yaw_deg):
    """A sensor level and turned by some angle from the lane: its fitting takes just that turn off."""
    standing = Rotation.from_euler("z", yaw_deg, degrees=True).as_matrix()
    unknown = Fitting(np.eye(3), upright=False, forward_sd_rad=np.inf)
    np.testing.assert_allclose(facing(unknown, standing).segment_from_sensor, standing, atol=1e-12)
    known = Fitting(np.eye(3), upright=True, forward_sd_rad=0.1)
    assert facing(known, standing) is known


def test_nothing_but_skates_is_no_body(frame):
    assert found(frame) is None
    assert body_notes(None) == ()


def test_a_fitting_with_a_problem_is_told_once():
    assert body_notes(Body({}, Lengths(), {"head": "head: it moved"})) == ("head: it moved",)
