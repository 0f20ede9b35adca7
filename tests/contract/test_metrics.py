"""What every metric must give, whoever wrote it."""

import re
from dataclasses import replace

import numpy as np
import pytest

from imustride.kinematics import BladePath, Cut, Kinematics
from imustride.metrics.view import OtherFoot, PushView
from imustride.registry import Metric, methods

CONTRACT = (
    "contact_time_s", "swing_time_s", "stride_time_s", "stride_rate_hz", "step_time_s", "double_support_s",
    "push_off_angular_velocity_deg_s", "edge_angle_deg", "track_angle_deg", "blade_speed_m_s", "stride_length_m",
    "stride_width_m", "lateral_travel_m",
)  # fmt: skip
# Suffix of the name and the unit it stands for, the longest first.
UNITS = {
    "_deg_s": "deg/s", "_rad_s": "rad/s", "_m_s2": "m/s^2", "_m_s": "m/s", "_deg": "deg", "_rad": "rad", "_hz": "Hz",
    "_percent": "%", "_ratio": "", "_count": "", "_s": "s", "_m": "m",
}  # fmt: skip
METRICS = methods("metrics")
NEED_A_PATH = (
    "track_angle_deg", "blade_speed_m_s", "stride_length_m", "step_length_m", "stride_width_m", "lateral_travel_m",
    "track_angle_deg_sd", "blade_speed_m_s_sd", "stride_length_m_sd", "step_length_m_sd", "stride_width_m_sd",
    "lateral_travel_m_sd",
)  # fmt: skip
every = pytest.mark.parametrize("metric", METRICS.values(), ids=METRICS.keys())


def skate(side):
    rng = np.random.default_rng(3)
    samples = 4000
    return Kinematics(
        side=side,
        start_s=100.0,
        rate_hz=400.0,
        acceleration_m_s2=rng.normal((0.0, 0.0, 9.81), 1.0, (samples, 3)),
        angular_velocity_rad_s=rng.normal(0, 1, (samples, 3)),
        earth_from_segment=np.tile(np.eye(3), (samples, 1, 1)),
        velocity_m_s=np.tile([4.0, 0.5, 0.0], (samples, 1)),
        measured=np.ones(samples, bool),
        clipped=np.zeros((samples, 2), bool),
        cut=Cut((100.0, 101.0), (101.0, 110.0)),
    )


def path():
    """A straight path, 4 m/s along the lane and 0.5 m/s to the left of it, known to 0.1 m."""
    time_s = np.linspace(100.0, 109.0, 200)
    return BladePath(
        time_s=time_s,
        position_m=(time_s[:, None] - 100.0) * [4.0, 0.5],
        velocity_m_s=np.tile([4.0, 0.5], (200, 1)),
        heading_rad=np.full(4000, np.arctan2(0.5, 4.0)),
        root=np.random.default_rng(4).normal(0, 0.1, (200, 2, 6)),
        heading_root=np.full((200, 6), 0.01),
        lane_sd_rad=0.02,
    )


def other_path():
    """The other blade, 50 s behind on its clock: beside the first at 102 s of that, then 5 m/s along the lane at 0.3 m."""
    time_s = np.linspace(50.0, 59.0, 200)
    made = path()
    return replace(made, time_s=time_s, position_m=(time_s[:, None] - 52.0) * [5.0, 0.0] + [8.0, 0.3])


def view(on, off, following, other, side="left", way=None):
    events = (np.array(values, float) for values in (on, off, following, other))
    seen = (
        None
        if way is None
        else OtherFoot(other_path(), np.array(other, float) - 50.0, np.array(off, float) - 49.6)
    )
    return PushView(skate(side), *events, way, seen)


paths = pytest.mark.parametrize("way", [None, path()], ids=["no path", "path"])


def test_the_columns_of_the_contract_are_measured():
    assert set(CONTRACT) <= set(METRICS)


@every
def test_the_descriptor_is_complete(metric):
    assert isinstance(metric, Metric)
    assert re.fullmatch(r"[a-z][a-z0-9_]*[a-z0-9]", metric.name)
    assert isinstance(metric.number, int)
    assert metric.number >= 1
    assert len(metric.definition.split()) > 3
    assert metric.definition.strip() == metric.definition
    assert metric.source.strip()
    assert metric.symmetry in {"index", "difference", "none"}
    assert callable(metric.measure)


@every
def test_the_unit_is_in_the_name(metric):
    (suffix,) = [suffix for suffix in UNITS if metric.name.removesuffix("_sd").endswith(suffix)][:1]
    assert metric.unit == UNITS[suffix]


@every
@paths
@pytest.mark.parametrize("side", ["left", "right"])
def test_one_number_a_push(metric, side, way):
    values = metric.measure(view([102.0, 103.0], [102.4, 103.4], [102.8, 103.8], [102.3, 103.3], side, way))
    assert values.shape == (2,)
    assert values.dtype == np.float64


@every
@paths
def test_no_push_gives_no_number(metric, way):
    values = metric.measure(view([], [], [], [], "left", way))
    assert values.shape == (0,)
    assert values.dtype == np.float64


@every
@paths
def test_without_events_every_value_is_empty(metric, way):
    nothing = [np.nan, np.nan]
    assert np.isnan(metric.measure(view(nothing, nothing, nothing, nothing, "left", way))).all()


@every
def test_a_push_without_events_leaves_the_others_alone(metric):
    whole = metric.measure(view([102.0, 103.0], [102.4, 103.4], [102.8, 103.8], [102.3, 103.3]))
    nan = np.nan
    holed = metric.measure(
        view([102.0, nan, 103.0], [102.4, nan, 103.4], [102.8, nan, 103.8], [102.3, nan, 103.3])
    )
    assert np.isnan(holed[1])
    np.testing.assert_array_equal(holed[[0, 2]], whole)


@every
def test_what_is_measured_does_not_change_what_it_measures(metric):
    seen = view([102.0], [102.4], [102.8], [102.3])
    before = [values.copy() for values in (seen.on_s, seen.off_s, seen.next_on_s, seen.other_on_s)]
    metric.measure(seen)
    for values, kept in zip((seen.on_s, seen.off_s, seen.next_on_s, seen.other_on_s), before, strict=True):
        np.testing.assert_array_equal(values, kept)


@every
def test_an_index_is_only_of_values_that_are_always_positive(metric):
    # Double support is negative in flight, an edge may be the outside one, an angle outward may be inward.
    signed = {"double_support_s", "edge_angle_deg", "track_angle_deg", "lateral_travel_m"}
    assert metric.name not in signed or metric.symmetry != "index"


@pytest.mark.parametrize("name", NEED_A_PATH)
def test_a_path_is_not_invented(name):
    values = METRICS[name].measure(view([102.0], [102.4], [102.8], [102.3]))
    assert np.isnan(values).all()


@pytest.mark.parametrize(("side", "sign"), [("left", 1), ("right", -1)])
def test_a_straight_path_is_measured_as_it_is(side, sign):
    # 4 m/s along, 0.5 m/s to the left: outward on the left foot. At 102.0 this blade is at 8.0 m. The other foot lands
    # at 102.3, which is 52.3 of its clock: 8.0 + 0.3 x 5 = 9.5 m. It leaves at 0.3 m across.
    seen = view([102.0], [102.4], [102.8], [102.3], side, path())
    found = {name: METRICS[name].measure(seen)[0] for name in NEED_A_PATH}
    assert found["blade_speed_m_s"] == pytest.approx(np.hypot(4.0, 0.5))
    assert found["stride_length_m"] == pytest.approx(3.2)
    assert found["step_length_m"] == pytest.approx(1.5)
    assert found["lateral_travel_m"] == pytest.approx(sign * 0.2)
    assert found["track_angle_deg"] == pytest.approx(sign * np.degrees(np.arctan2(0.5, 4.0)))
    assert found["stride_width_m"] == pytest.approx(abs(0.3 - 2.4 * 0.5))
