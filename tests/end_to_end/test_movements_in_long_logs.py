"""Movements at the boards in the same log of each sensor as the runs: as if they had files of their own.

The piece of a shank's log begins and ends some hundredths of a second off the span on the skate's clock, to which it is joined by
when both moved, in blocks of 0.1 s; and its samples are evened out from another first one. So the mean over the standing is
of some other samples among several hundred, with noise of 0.03 m/s^2: it turns by some thousandths of a degree.
"""

import datetime as dt
import json
import shutil

import h5py
import numpy as np
import pandas as pd
import pytest

from imustride.exporting import write_results
from imustride.loaders import open_session
from imustride.pipeline import analyse_session
from imustride.preparing.session_text import toml_text
from imustride.session import read_session
from tests.generators.evening import CLOCKS_S, evening

BODY = ("left_shank", "left_thigh")
PLACES = ("left_skate", "right_skate", *BODY)
AROUND_S = 2.0
FACTS = {
    "athlete": "A07",
    "date": dt.date(2026, 10, 3),
    "surface": "ice",
    "protocol": "sprint-100ft",
    "columns": {"time": "time", "acceleration": "acc", "angular_velocity": "gyr"},
    "units": {"time": "s", "acceleration": "m/s^2", "angular_velocity": "deg/s"},
    "body": {"height_m": 1.75},
}
KIT = """\
surface = "ice"
protocol = "sprint-100ft"
logs = "{place}.h5"
[columns]
time = "time"
acceleration = "acc"
angular_velocity = "gyr"
[units]
time = "s"
acceleration = "m/s^2"
angular_velocity = "deg/s"
"""
HEADER = ",".join(
    ["date", "time", "athlete", "consent", "run", "start_s", "end_s", *(f"{one}_device" for one in PLACES)]
)
DEVICES = ",".join(place.replace("_", "-") for place in PLACES)
TABLES = ("pushes.csv", "runs.csv", "segments.csv", "symmetry.csv")


def clock_s(place):
    return CLOCKS_S.get(place, 30.0 + 7.0 * len(place))


@pytest.fixture(scope="module")
def simulated():
    return evening({"A07": 3}, 2, places=BODY, movements=True, between_s=30.0)


@pytest.fixture(scope="module")
def spans_s(simulated):
    """Movements and two runs: from when to when, from the begin of the evening, with something around the movements."""
    found, at_s = {}, 0.0
    for part in simulated.parts:
        if part.kind == "movements":
            found["movements"] = (at_s - AROUND_S, at_s + part.length_s + AROUND_S)
        elif part.kind == "run":
            found[part.run] = (at_s + 0.5, at_s + part.length_s - 0.7)
        at_s += part.length_s
    return found


@pytest.fixture(scope="module")
def samples(simulated):
    return {place: simulated.samples(place) for place in PLACES}


def write(path, rows):
    path.parent.mkdir(parents=True, exist_ok=True)
    with h5py.File(path, "w") as file:
        file["time"] = rows[:, 0]
        file["acc"] = rows[:, 1:4].astype("f4")
        file["gyr"] = np.degrees(rows[:, 4:]).astype("f4")


def declare(folder, entries):
    """Write a session of runs and movements: name, folder of its files, span on the clock of the left skate or None."""
    content = {
        **FACTS,
        "sensors": [{"place": place, "device": place.replace("_", "-")} for place in PLACES],
        "runs": [],
        "movements": [],
    }
    for name, where, span_s in entries:
        entry = {"files": {place: f"{where}/{place}.h5" for place in PLACES}}
        if span_s is not None:
            entry |= dict(zip(("start_s", "end_s"), span_s, strict=True))
        if name == "movements":
            content["movements"].append({"kind": "all", **entry})
        else:
            content["runs"].append({"name": name, **entry})
    (folder / "session.toml").write_text(toml_text(content), encoding="utf-8")


def on_skate(span_s):
    return tuple(round(at_s + CLOCKS_S["left_skate"], 3) for at_s in span_s)


@pytest.fixture(scope="module")
def whole(samples, spans_s, tmp_path_factory):
    folder = tmp_path_factory.mktemp("whole")
    for place, rows in samples.items():
        write(folder / "logs" / f"{place}.h5", rows)
    declare(folder, [(name, "logs", on_skate(span_s)) for name, span_s in spans_s.items()])
    return folder


@pytest.fixture(scope="module")
def apart(whole, samples, spans_s, tmp_path_factory):
    """Cut the movements out beforehand; the runs lie in whole logs here too."""
    folder = tmp_path_factory.mktemp("apart")
    shutil.copytree(whole / "logs", folder / "logs")
    begin_s, end_s = spans_s["movements"]
    for place, rows in samples.items():
        time_s = rows[:, 0] - clock_s(place)
        write(folder / "movements" / f"{place}.h5", rows[(time_s >= begin_s) & (time_s <= end_s)])
    own = ("movements", "movements", None)
    declare(folder, [own, *((name, "logs", on_skate(spans_s[name])) for name in ("run-1", "run-2"))])
    return folder


@pytest.fixture(scope="module")
def results(whole, apart, tmp_path_factory):
    """Analyse both sessions, once."""
    out = tmp_path_factory.mktemp("results")
    for folder in (whole, apart):
        result = analyse_session(folder)
        assert result.problems == ()
        write_results(result, out / folder.name.rstrip("0123456789"), {})
    return out


OF_BODY = ("knee_", "shank_", "hip_", "foot_to_hip", "leg_angle", "glide_before")


def test_the_body_is_measured_as_with_movements_in_files_of_their_own(results):
    one, other = (pd.read_csv(results / name / "pushes.csv") for name in ("whole", "apart"))
    assert (one[["run", "side", "push"]] == other[["run", "side", "push"]]).all(axis=None)
    columns = [name for name in one if name.startswith(OF_BODY) and not name.endswith("_sd")]
    told = [name for name in columns if other[name].notna().sum() > 8]
    assert len(told) > 10
    for name in told:
        # Degrees, and what follows from them in m, s and ratios; of what turns at 500 deg/s the same share.
        np.testing.assert_allclose(one[name], other[name], rtol=2e-5, atol=0.01, err_msg=name)
    one, other = (pd.read_csv(results / name / "segments.csv") for name in ("whole", "apart"))
    assert one["upright"].all()
    assert (one["movements"] > 1).all()
    shown = ["run", "place", "upright", "movements", "problem"]
    pd.testing.assert_frame_equal(one[shown], other[shown])


def test_exported_and_read_back_they_give_the_same(whole, results, command, tmp_path):
    out = tmp_path / "out"
    status, _, err = command("export", "bids", whole, out, "--results", results / "whole", "--quiet")
    assert (status, err) == (0, "")
    assert len(list(out.glob("sub-*/ses-*/motion/*_motion.tsv"))) == len(PLACES)
    assert read_session(whole).movements[0].start_s == open_session(out).movements[0].start_s
    write_results(analyse_session(out), tmp_path / "after", {})
    for name in TABLES:
        assert (tmp_path / "after" / name).read_bytes() == (results / "whole" / name).read_bytes(), name


def test_the_check_says_the_same_of_them(whole, apart, command):
    found, expected = (
        [
            (line["check"], line["recording"], line["where"], line["verdict"])
            for line in json.loads(command("check", folder, "--json")[1])["lines"]
        ]
        for folder in (whole, apart)
    )
    assert {where for _, recording, where, _ in found if recording == "movement all"} >= set(PLACES)
    assert found == expected


@pytest.fixture
def prepare(whole, spans_s, command, tmp_path):
    """Prepare a day of movements and two runs, cut out of the logs; the list says where all of it lies."""

    def call(second="A07", said=None, *more):
        lines = [HEADER]
        for number, (name, span_s) in enumerate(spans_s.items()):
            cut = "{},{}".format(*on_skate(span_s)) if name != "movements" or said is None else said
            who = second if name == "run-2" else "A07"
            lines.append(f"2026-10-03,18:{5 * number:02d},{who},guardian,{name},{cut},{DEVICES}")
        (tmp_path / "list.csv").write_text("\n".join([*lines, ""]))
        (tmp_path / "kit.toml").write_text(KIT)
        where = ("--logs", whole / "logs", "--out", tmp_path / "day")
        return command("prepare", tmp_path / "list.csv", "--cut", *where, *more)

    return call


def test_prepare_declares_them_in_whole_logs(prepare, spans_s, tmp_path):
    status, _, err = prepare()
    assert status == 0, err
    folder = tmp_path / "day" / "2026-10-03-A07"
    session = read_session(folder)
    (moved,) = session.movements
    assert (moved.start_s, moved.end_s) == pytest.approx(on_skate(spans_s["movements"]), abs=0.006)
    assert moved.files == session.runs[0].files
    assert sorted(path.name for path in folder.rglob("*.h5")) == sorted(f"{place}.h5" for place in PLACES)


def test_prepare_cuts_them_out_of_logs_that_others_share(prepare, spans_s, tmp_path):
    status, _, err = prepare("B10")
    assert status == 0, err
    folder = tmp_path / "day" / "2026-10-03-A07"
    (moved,) = read_session(folder).movements
    assert moved.start_s is None
    for place in PLACES:
        with h5py.File(folder / moved.files[place]) as piece:
            ends_s = piece["time"][[0, -1]] - clock_s(place)
        # The logs of a run and of movements begin within a quarter of a second of each other.
        np.testing.assert_allclose(ends_s, spans_s["movements"], atol=0.5)
    segments = analyse_session(folder).segments
    assert segments["upright"].all()
    assert (segments["movements"] > 1).all()


def test_prepare_asks_where_they_lie_and_leaves_them_out_until_then(prepare, tmp_path):
    status, _, err = prepare("A07", ",", "--partial")
    assert status == 3
    assert "line 2, A07 movements: in the same log as runs" in err
    assert "wanted its start_s and end_s in the list" in err
    assert read_session(tmp_path / "day" / "2026-10-03-A07").movements == ()


def test_prepare_refuses_them_in_the_middle_of_a_run(prepare, spans_s):
    status, _, err = prepare("A07", "{},{}".format(*on_skate(spans_s["run-1"])))
    assert status == 3
    assert "line 2, A07 movements: A07 run-1 of line 3 lies in the same part of left_skate.h5" in err
