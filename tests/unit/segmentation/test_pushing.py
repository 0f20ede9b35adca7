import numpy as np
import pytest

from imustride.kinematics import Clock
from imustride.segmentation.pushing import PushingSettings, end_of_pushing, overlaps

NAN = np.nan
SETTINGS = PushingSettings()


def counts(left, right, clock=None):
    contacts = {"left": np.array(left, float), "right": np.array(right, float)}
    return end_of_pushing(contacts, {"left": Clock(), "right": clock or Clock()}, SETTINGS)


def alternate(pushes, double_support_s=0.1, glide_s=1.5):
    """Contacts of both feet from standing; the last two are the glide."""
    step = 0.35
    ends = 10.0 + step * np.arange(2 * pushes + 2)
    begins = np.concatenate(([NAN, NAN], ends[1:-1] - double_support_s))
    contacts = np.stack([begins, ends], axis=1)
    contacts[-2:, 1] = [NAN, ends[-3] + glide_s]
    return contacts[0::2], contacts[1::2]


@pytest.mark.parametrize("double_support_s", [-0.08, 0.0, 0.2])
@pytest.mark.parametrize("pushes", [3, 9])
def test_alternate_feet_push_until_both_glide(pushes, double_support_s):
    left, right = alternate(pushes, double_support_s)
    assert counts(left, right) == {"left": pushes, "right": pushes}


def test_what_comes_after_the_glide_is_no_push():
    left, right = alternate(4)
    left[-1, 1] = left[-1, 0] + 2.0
    right[-1, 1] = right[-1, 0] + 1.9
    # Steps to turn round and walk off.
    late = np.array([[left[-1, 1] + 0.3, left[-1, 1] + 0.7], [left[-1, 1] + 1.0, NAN]])
    assert counts(np.vstack((left, late)), np.vstack((right, late + 0.35))) == {"left": 4, "right": 4}


def test_standing_on_both_feet_is_no_glide():
    # Both stand for minutes before the first lift.
    left, right = alternate(3)
    assert min(counts(left, right).values()) == 3


def test_a_contact_cut_by_the_log_is_a_push_while_nobody_glides():
    left, right = alternate(4)
    left, right = left[:-1], right[:-1]
    left[-1, 1] = NAN
    end_s = left[-1, 0] + 0.2
    contacts = {"left": left, "right": right}
    clocks = {"left": Clock(), "right": Clock()}
    with_log_end = end_of_pushing(contacts, clocks, SETTINGS, {"left": end_s, "right": end_s})
    assert with_log_end == {"left": 4, "right": 4}
    assert end_of_pushing(contacts, clocks, SETTINGS) == {"left": 3, "right": 4}


def test_clocks_are_taken_into_account():
    left, right = alternate(5)
    away = Clock(offset_s=-40.0)
    assert counts(left, right + 40.0, away) == counts(left, right)


def test_a_foot_alone_ends_with_its_first_long_contact():
    left, _ = alternate(5)
    left[-1, 1] = left[-1, 0] + 2.5
    late = np.array([[left[-1, 1] + 0.3, left[-1, 1] + 0.7]])
    found = end_of_pushing({"left": np.vstack((left, late))}, {"left": Clock()}, SETTINGS)
    assert found == {"left": 5}


def test_unjoined_clocks_leave_each_foot_to_itself():
    left, right = alternate(5)
    left[-1, 1], right[-1, 1] = left[-1, 0] + 2.5, right[-1, 0] + 2.5
    # On its own clock the right foot is 0.35 s off: together with the left all the time.
    found = end_of_pushing(
        {"left": left, "right": right - 0.35},
        {"left": Clock(), "right": Clock(joined=False)},
        SETTINGS,
    )
    assert found == {"left": 5, "right": 5}


def test_overlaps_of_standing_and_unfinished_contacts():
    one = np.array([[NAN, 1.0], [2.0, 3.0], [4.0, NAN]])
    other = np.array([[NAN, 0.5], [2.5, 4.5]])
    assert overlaps(one, other).tolist() == [[np.inf, 0.0], [0.0, 0.5], [0.0, 0.5]]
