from dataclasses import replace

import pytest

from imustride.season.like import Terms, changed_conditions, compare_terms, courses

USUAL = Terms(
    "contact_time_s", 2, "later", "sprint", "ice",
    rate_hz=500.0, bandwidth_hz=150.0, mount="holder", calibration="calibrated",
)  # fmt: skip


@pytest.mark.parametrize(
    ("change", "word", "reason"),
    [
        ({}, "comparable", None),
        ({"metric": "step_time_s"}, "refused", "metric: contact_time_s and step_time_s"),
        ({"definition": 3}, "refused", "number of the metric's definition: 2 and 3"),
        ({"phase": "all"}, "refused", "phase: later and all"),
        ({"protocol": "flying"}, "refused", "protocol: sprint and flying"),
        ({"surface": "synthetic"}, "refused", "surface: ice and synthetic"),
        ({"mount": "boot"}, "shown apart", "mount: holder and boot"),
        ({"calibration": None}, "shown apart", "state of calibration: calibrated and not known"),
        ({"rate_hz": 400.0}, "comparable", None),
        ({"rate_hz": 200.0}, "shown apart", "sampling rate: 500 Hz and 200 Hz"),
        ({"bandwidth_hz": None}, "shown apart", "bandwidth of the sensors: 150 Hz and not known"),
        ({"bandwidth_hz": 100.0}, "comparable", None),  # just a factor of 1.5
    ],
)
def test_like_with_like(change, word, reason):
    for found in (
        compare_terms(USUAL, replace(USUAL, **change)),
        compare_terms(replace(USUAL, **change), USUAL),
    ):
        assert found.word == word
        assert len(found.reasons) == (reason is not None)
    if reason:
        assert compare_terms(USUAL, replace(USUAL, **change)).reasons == (reason,)


def test_all_reasons_are_given_the_refusing_ones_first():
    other = replace(USUAL, mount="boot", surface="synthetic")
    found = compare_terms(USUAL, other)
    assert found.word == "refused"
    assert [reason.split(":")[0] for reason in found.reasons] == ["surface", "mount"]


def test_what_neither_knows_does_not_part_them():
    unknown = replace(USUAL, bandwidth_hz=None, mount=None)
    assert compare_terms(unknown, unknown).word == "comparable"


def test_changed_conditions_known_ones_first():
    before = {"ice_temperature_c": -5, "skates": "old", "start_behind_m": 0.5, "height_cm": 150.0}
    after = {"skates": "new", "start_behind_m": 0.5, "height_cm": 154.5, "ice_temperature_c": -7}
    assert changed_conditions(before, after) == (
        "skates: old, then new",
        "growth, height [cm]: 150, then 154.5",
        "ice temperature c: -5, then -7",
    )


def test_changed_conditions_do_not_part_sessions():
    found = compare_terms(USUAL, replace(USUAL, conditions={"sharpening": "today"}))
    assert found.word == "comparable"
    assert found.changed == ("sharpening: not known, then today",)


def test_courses_keep_likes_together_and_show_the_latest_first():
    boot = replace(USUAL, mount="boot")
    assert courses([USUAL, boot, USUAL, boot, boot]) == [[1, 3, 4], [0, 2]]


def test_slowly_growing_rates_do_not_creep_together():
    # 500 with 400, 400 with 300, yet 500 not with 300: every pair of a course is comparable.
    rates = [replace(USUAL, rate_hz=rate) for rate in (500.0, 400.0, 300.0)]
    assert courses(rates) == [[2], [0, 1]]
