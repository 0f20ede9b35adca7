"""Which pushes say that their path is doubtful, was found against the gates, or lies behind the finish."""

import numpy as np
import pandas as pd
import pytest

from imustride.kinematics import BodyPath
from imustride.runs import flag_tracks, path_notes
from imustride.trajectory.track import Tracks

TIME_S = np.linspace(0.0, 10.0, 101)


def body(gate_s=(), gate_miss_m=()):
    one = np.ones(len(TIME_S))
    return BodyPath(
        TIME_S, TIME_S, one, one, one[:, None], one[:, None], np.zeros(len(gate_s)), np.array(gate_s, float),
        np.array(gate_miss_m, float),
    )  # fmt: skip


def flags(*tracks):
    pushes = pd.DataFrame({
        "side": ["left", "right", "left", "right"],
        "blade_off_s": [4.0, 4.4, 4.8, 5.2],
        "flags": ["", "clipped", "", ""],
    })  # fmt: skip
    flag_tracks(pushes, tracks)
    return pushes["flags"].tolist()


BOTH = dict.fromkeys(("left", "right"))


def test_a_path_that_fits_says_nothing():
    assert flags(Tracks(BOTH, body())) == ["", "clipped", "", ""]
    assert flags() == ["", "clipped", "", ""]


def test_of_two_feet_tracked_alone_only_the_doubtful_one_is_flagged():
    alone = (
        Tracks({"left": None}, body()),
        Tracks({"right": None}, body(), "a gap of 0.40 s in the right log"),
    )
    assert flags(*alone) == ["", "clipped;path_doubtful", "", "path_doubtful"]
    assert path_notes(alone) == ["a gap of 0.40 s in the right log: what rests on the path stays empty"]


def test_gates_that_were_left_out_concern_both_feet():
    left_out = Tracks(BOTH, body(), note="the gates do not fit")
    assert flags(left_out) == [
        "gates_left_out",
        "clipped;gates_left_out",
        "gates_left_out",
        "gates_left_out",
    ]
    assert path_notes([left_out]) == ["the gates do not fit"]


@pytest.mark.parametrize(
    ("gates", "behind"),
    [
        (((1.0, 4.6), (0.01, -0.02)), 2),
        (((1.0, 5.2), (0.01, -0.02)), 0),
        (((1.0, 4.6), (0.01, np.nan)), 0),  # the last gate was not reached while the feet were tracked
    ],
)
def test_pushes_that_end_behind_the_last_gate_are_after_the_finish(gates, behind):
    found = flags(Tracks(BOTH, body(*gates)))
    assert ["after_finish" in one for one in found] == [False] * (4 - behind) + [True] * behind


def test_where_the_path_is_doubtful_nobody_knows_where_the_finish_was():
    found = flags(Tracks(BOTH, body((1.0, 4.6), (0.01, -0.02)), doubt="a gap"))
    assert found == ["path_doubtful", "clipped;path_doubtful", "path_doubtful", "path_doubtful"]
