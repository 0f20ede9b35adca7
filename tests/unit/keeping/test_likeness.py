"""Which sessions of the store are one course."""

import datetime as dt

import pandas as pd

from imustride.keeping.likeness import Session, apart, own_course
from imustride.season.family import Followed

CONTACT = Followed("contact_time_s", "contact_time_s", "pushes", "s", "later")
GATES = Followed("gate_time_s", "gate_time_s", "runs", "s", "all")


def kept(*changes, athlete="A07"):
    """Sessions a week apart, each with what is otherwise."""
    usual = {"protocol": "sprint", "surface": "ice", "rate_hz": 500.0, "bandwidth_hz": None, "mount": "holder",
             "calibration": "both", "conditions": {}, "definitions": {"contact_time_s": 1}}  # fmt: skip
    out = {}
    for number, change in enumerate(changes):
        day = dt.date(2025, 9, 1) + dt.timedelta(days=7 * number)
        out[athlete, f"{day}/evening"] = Session(athlete, day, "evening", 2012, **(usual | change))
    return out


def values(sessions, missing=()):
    keys = list(sessions)
    value = [float("nan") if number in missing else 0.3 for number, _ in enumerate(keys)]
    return pd.DataFrame({"athlete": [a for a, _ in keys], "session": [s for _, s in keys], "value": value})


def course(sessions, followed=CONTACT, missing=()):
    own, others = own_course(sessions, values(sessions, missing), followed, "A07")
    places = [number for number, key in enumerate(k for k in sessions if k[0] == "A07") if key in own]
    told = apart(sessions, values(sessions, missing), followed, "A07", own)
    return places, [(one.word, one.reasons) for one in told], others


def test_the_course_goes_on_to_the_last_session():
    places, told, _ = course(kept({}, {"surface": "synthetic"}, {"rate_hz": 200.0}, {"rate_hz": 400.0}))
    assert places == [0, 3]
    assert told == [
        ("refused", ("surface: synthetic and ice", )),
        ("shown apart", ("sampling rate: 200 Hz and 400 Hz",)),
    ]  # fmt: skip


def test_another_definition_is_refused_and_none_has_no_value():
    sessions = kept(
        {"definitions": {}}, {"definitions": {"contact_time_s": 1}}, {"definitions": {"contact_time_s": 2}}
    )
    places, told, _ = course(sessions)
    assert places == [2]
    assert told == [
        ("no value", ("the version that analysed it did not have this metric",)),
        ("refused", ("number of the metric's definition: 1 and 2",)),
    ]
    assert course(sessions, GATES)[0] == [0, 1, 2]  # columns of runs.csv have no number


def test_a_session_without_a_value_is_told():
    assert course(kept({}, {}), missing=(0,))[1] == [("no value", ("no usable run has a value",))]
    places, told, _ = course(kept({}, {}), missing=(0, 1))
    assert (places, len(told)) == ([], 2)


def test_of_the_others_only_what_is_comparable_with_the_last_session():
    others = kept({}, {"protocol": "agility"}, {"rate_hz": None}, athlete="B02")
    found = course(kept({}, {}) | others)[2]
    assert found == {("B02", "2025-09-01/evening")}
