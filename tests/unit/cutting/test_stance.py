import numpy as np
import pytest

from imustride.cutting.stance import cut
from imustride.errors import SignalQualityError
from imustride.recording import Recording
from imustride.session import Sensor

G = 9.81


def recording(
    pieces, rate_hz=200.0, start_s=0.0, bias_deg_s=(0.0, 0.0, 0.0), sway_deg=0.0, seed=0, noise=1.0
):
    """Make a log of pieces (kind, seconds): "quiet", "run" (turns and shakes) or "glide" (shakes a little)."""
    rng = np.random.default_rng(seed)
    kinds = np.concatenate(
        [np.full(round(seconds * rate_hz), "qgr".index(kind[0])) for kind, seconds in pieces]
    )
    time_s = np.arange(len(kinds)) / rate_hz
    running, gliding = kinds == 2, kinds == 1
    rate = np.radians(rng.normal(0, 0.1 * noise, (len(kinds), 3)) + bias_deg_s)
    swing = np.stack(
        [np.sin(2 * np.pi * f * time_s + p) for f, p in ((1.4, 0.0), (2.8, 1.0), (1.4, 2.0))], axis=1
    )
    rate += running[:, None] * np.radians([60.0, 250.0, 90.0]) * swing
    rate += gliding[:, None] * np.radians(15.0) * swing
    # Sway of somebody who stands: slow tilts of the skate about x and y.
    sway = np.radians(sway_deg) * np.stack(
        [np.sin(2 * np.pi * 0.3 * time_s), np.cos(2 * np.pi * 0.2 * time_s)]
    )
    rate[:, :2] += np.gradient(sway, 1 / rate_hz, axis=1).T * (kinds == 0)[:, None]
    force = rng.normal(0, 0.03 * noise, (len(kinds), 3)) + np.array([0.0, 0.0, G])
    force += np.where(running, 4.0, np.where(gliding, 0.8, 0.0))[:, None] * rng.normal(0, 1, (len(kinds), 3))
    return Recording(
        sensor=Sensor(place="left_skate"),
        start_s=start_s,
        rate_hz=rate_hz,
        acceleration_m_s2=force,
        angular_velocity_rad_s=rate,
        measured=np.ones(len(kinds), bool),
        clipped=np.zeros((len(kinds), 2), bool),
    )


SPRINT = (("quiet", 4.0), ("run", 6.0), ("quiet", 3.0))


@pytest.mark.parametrize("rate_hz", [100.0, 237.0, 1000.0])
@pytest.mark.parametrize("start_s", [0.0, -31.7, 1.6e9])
def test_stance_motion_and_stop_are_found_on_the_own_clock(rate_hz, start_s):
    found = cut(recording(SPRINT, rate_hz, start_s))
    assert found.motion_s == pytest.approx((start_s + 4.0, start_s + 10.0), abs=0.12)
    assert found.stance_s[0] <= start_s + 0.5
    assert start_s + 3.6 <= found.stance_s[1] <= start_s + 4.0
    assert found.stop_s == pytest.approx((start_s + 10.0, start_s + 13.0), abs=0.12)


@pytest.mark.parametrize("bias_deg_s", [(2.0, -1.5, 3.0), (-30.0, 12.0, 8.0)])
def test_a_gyro_bias_is_no_motion(bias_deg_s):
    found = cut(recording(SPRINT, bias_deg_s=bias_deg_s))
    assert found.motion_s == pytest.approx((4.0, 10.0), abs=0.12)


def test_sway_is_no_motion():
    found = cut(recording(SPRINT, sway_deg=1.5))
    assert found.motion_s == pytest.approx((4.0, 10.0), abs=0.12)
    assert found.stance_s[1] - found.stance_s[0] > 3.0


def test_a_noisy_sensor_still_stands_still():
    found = cut(recording(SPRINT, noise=6.0))
    assert found.motion_s == pytest.approx((4.0, 10.0), abs=0.12)


def test_the_stance_never_reaches_into_the_motion():
    for seed in range(5):
        made = recording((("quiet", 3.05), ("run", 5.0), ("quiet", 2.0)), seed=seed)
        found = cut(made)
        inside = made.angular_velocity_rad_s[
            made.index(found.stance_s[0]) : made.index(found.stance_s[1]) + 1
        ]
        assert np.degrees(np.abs(inside)).max() < 1.0


def test_the_run_is_the_motion_with_the_most_rotation():
    # Shuffling before the stance and walking off after the stop.
    pieces = (("run", 1.5), ("quiet", 4.0), ("run", 7.0), ("quiet", 2.5), ("glide", 3.0), ("quiet", 1.0))
    found = cut(recording(pieces))
    assert found.motion_s == pytest.approx((5.5, 12.5), abs=0.12)
    assert found.stance_s[0] == pytest.approx(1.5, abs=0.12)
    assert found.stop_s == pytest.approx((12.5, 15.0), abs=0.12)


def test_a_moment_of_calm_in_the_run_does_not_cut_it():
    found = cut(recording((("quiet", 4.0), ("run", 3.0), ("quiet", 0.5), ("run", 3.0), ("quiet", 2.0))))
    assert found.motion_s == pytest.approx((4.0, 10.5), abs=0.12)


def test_a_log_that_ends_in_the_motion_has_no_stop():
    assert cut(recording(SPRINT[:2])).stop_s is None


def test_a_long_stance_is_used_at_its_end():
    found = cut(recording((("quiet", 40.0), ("run", 6.0), ("quiet", 2.0))))
    assert 3.0 <= found.stance_s[1] - found.stance_s[0] <= 10.0
    assert found.stance_s[1] == pytest.approx(40.0, abs=0.25)


def test_the_stance_after_the_stop_is_the_first_long_one():
    # Stands 3.5 s, stamps, lies on a shelf for the rest of the log: that says nothing of the run.
    after = (("quiet", 3.5), ("run", 0.5), ("quiet", 90.0))
    found = cut(recording((("quiet", 4.0), ("run", 6.0), *after)))
    assert found.stop_s == pytest.approx((10.0, 13.5), abs=0.12)


def test_where_nobody_stands_for_long_the_longest_stance_is_used_at_its_beginning():
    # The pauses of 1.5 s and 1 s are shorter than the 3 s asked for; of the 90 s the first six count.
    after = (("quiet", 1.5), ("run", 0.5), ("quiet", 1.0), ("run", 0.5), ("quiet", 90.0))
    found = cut(recording((("quiet", 4.0), ("run", 6.0), *after)))
    assert found.stop_s == pytest.approx((13.5, 19.5), abs=0.12)


def test_a_stance_is_not_sought_in_a_gap():
    made = recording(SPRINT)
    measured = made.measured.copy()
    measured[: round(2.0 * 200)] = False
    holed = Recording(
        made.sensor, made.start_s, made.rate_hz, made.acceleration_m_s2, made.angular_velocity_rad_s, measured,
        made.clipped,
    )  # fmt: skip
    assert cut(holed).stance_s[0] >= 1.95


@pytest.mark.parametrize(
    ("pieces", "said"),
    [
        ((("quiet", 8.0),), "nothing moves"),
        ((("quiet", 0.05),), "the log lasts"),
        ((("quiet", 5.0), ("run", 0.4), ("quiet", 5.0)), "wanted a run of at least"),
        ((("run", 6.0), ("quiet", 3.0)), "no quiet stance"),
        ((("quiet", 0.4), ("run", 6.0), ("quiet", 3.0)), "no quiet stance"),
        ((("run", 6.0),), "no quiet stance"),
    ],
)
def test_what_is_missing_is_said_in_one_line_with_the_place(pieces, said):
    with pytest.raises(SignalQualityError, match=said) as caught:
        cut(recording(pieces))
    assert str(caught.value).startswith("left_skate")
    assert "\n" not in str(caught.value)
    assert "wanted" in str(caught.value)
