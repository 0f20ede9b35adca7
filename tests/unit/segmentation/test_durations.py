"""The dynamic programme against every possible course, on inputs small enough to try them all."""

from itertools import combinations

import numpy as np
import pytest

from imustride.segmentation.durations import DurationSettings, best_path, contacts, log_prior

RATE_HZ = 100.0
SETTINGS = DurationSettings()


def score(path, total, settings):
    """Log probability of a course: evidence for each state, prior of each finished contact and swing."""
    value = 0.0
    for number, (begin, end) in enumerate(path):
        last = len(total) - 1 if end is None else end
        value += 0.5 * (total[last] - total[begin])
        if end is None:
            continue
        if number > 0:
            duration = np.array((end - begin) / RATE_HZ)
            value += log_prior(duration, settings.contact_median_s, settings.shortest_contact_s, settings)
        value -= 0.5 * (total[path[number + 1][0]] - total[end])
        duration = np.array((path[number + 1][0] - end) / RATE_HZ)
        value += log_prior(duration, settings.swing_median_s, settings.shortest_swing_s, settings)
    return float(value)


def every_course(rises, falls):
    """All courses that begin standing, end in contact, and change state at the candidates in turn."""
    marks = sorted([(at, "rise") for at in rises] + [(at, "fall") for at in falls])
    for size in range(0, len(marks) + 1, 2):
        for chosen in combinations(marks, size):
            kinds = [kind for _, kind in chosen]
            if kinds == ["fall", "rise"] * (size // 2):
                at = [0, *(place for place, _ in chosen), None]
                yield list(zip(at[::2], at[1::2], strict=True))


@pytest.mark.parametrize("seed", range(25))
def test_the_course_found_is_the_best_of_all(seed):
    rng = np.random.default_rng(seed)
    at = np.sort(rng.choice(np.arange(8, 300), size=10, replace=False))
    rises, falls = at[1::2], at[0::2]  # what is left of a sign that changes in turn
    total = np.concatenate(([0.0], np.cumsum(rng.normal(0, 0.4, 320))))
    found = best_path(rises, falls, total, RATE_HZ, SETTINGS)
    best = max(score(path, total, SETTINGS) for path in every_course(rises.tolist(), falls.tolist()))
    assert score(found, total, SETTINGS) == pytest.approx(best, abs=1e-9)


def course(pieces):
    """Odds that say contact (+) or swing (-) for some samples each."""
    return np.concatenate([np.full(length, level) for length, level in pieces])


def test_clear_evidence_is_followed():
    odds = course([(100, 0.5), (30, -0.5), (40, 0.5), (32, -0.5), (38, 0.5), (30, -0.5), (120, 0.5)])
    found = contacts(odds, RATE_HZ, SETTINGS)
    expected = [(0, 100), (130, 170), (202, 240), (270, None)]
    assert len(found) == len(expected)
    for (begin, end), (true_begin, true_end) in zip(found, expected, strict=True):
        assert begin == pytest.approx(true_begin, abs=2)
        assert end is None if true_end is None else end == pytest.approx(true_end, abs=2)


def test_a_flicker_is_no_swing_and_no_contact():
    odds = course(
        [(100, 0.5), (30, -0.5), (20, 0.5), (3, -0.5), (17, 0.5), (15, -0.5), (3, 0.5), (14, -0.5), (99, 0.5)]
    )
    found = contacts(odds, RATE_HZ, SETTINGS)
    assert [(round(begin, -1), end and round(end, -1)) for begin, end in found] == [
        (0, 100), (130, 170), (200, None),
    ]  # fmt: skip


def test_nothing_lasts_shorter_than_it_can():
    odds = np.random.default_rng(4).normal(0, 3.0, 2000)
    found = contacts(odds, RATE_HZ, SETTINGS)
    for k, (begin, end) in enumerate(found[:-1]):
        assert (found[k + 1][0] - end) / RATE_HZ >= SETTINGS.shortest_swing_s
        if k > 0:
            assert (end - begin) / RATE_HZ >= SETTINGS.shortest_contact_s


@pytest.mark.parametrize("odds", [np.zeros(300), np.full(300, 1.0), np.full(3, -1.0)])
def test_a_foot_that_never_lifts_stands(odds):
    assert contacts(odds, RATE_HZ, SETTINGS) == [(0, None)]


def test_contacts_alternate_and_the_last_has_no_end():
    found = contacts(np.random.default_rng(7).normal(0, 2.0, 3000), RATE_HZ, SETTINGS)
    assert found[0][0] == 0
    assert found[-1][1] is None
    line = [at for pair in found for at in pair if at is not None]
    assert line == sorted(set(line))
