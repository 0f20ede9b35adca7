"""`imustride check` on runs declared by `start_s` and `end_s` in whole logs: as if each run had files of its own."""

import json
import shutil
import tracemalloc

import h5py
import numpy as np
import pytest

from imustride.fitting import check_session
from tests.generators.evening import CLOCKS_S, Evening, Part, evening

PLACES = ("left_skate", "right_skate", "pelvis")
HEADER = """\
athlete = "A07"
date = 2026-10-03
surface = "ice"
protocol = "sprint-100ft"
[columns]
time = "time"
acceleration = "acc"
angular_velocity = "gyr"
[units]
time = "s"
acceleration = "m/s^2"
angular_velocity = "deg/s"
"""
SENSORS = "".join(f'[[sensors]]\nplace = "{place}"\ndevice = "{place}"\n' for place in PLACES)


@pytest.fixture(scope="module")
def simulated():
    return evening({"A07": 3}, 2, places=("pelvis",))


@pytest.fixture(scope="module")
def samples(simulated):
    """Samples of each sensor, all on one clock, shape (n, 7)."""
    found = {}
    for place in PLACES:
        found[place] = simulated.samples(place)
        found[place][:, 0] -= CLOCKS_S[place]
    return found


@pytest.fixture(scope="module")
def spans_s(simulated):
    """Spans of the runs, without the seams in the logs around them."""
    return [
        (round(begin_s + 0.5, 3), round(begin_s + part.length_s - 0.7, 3))
        for begin_s, part in simulated.runs()
    ]


def write(path, rows):
    path.parent.mkdir(parents=True, exist_ok=True)
    with h5py.File(path, "w") as file:
        file["time"] = rows[:, 0]
        file["acc"] = rows[:, 1:4].astype("f4")
        file["gyr"] = np.degrees(rows[:, 4:]).astype("f4")


def declare(folder, runs):
    """Write a session of runs: name, folder of its files, span or None."""
    text = HEADER + SENSORS
    for name, where, span_s in runs:
        files = ", ".join(f'{place} = "{where}/{place}.h5"' for place in PLACES)
        text += f'[[runs]]\nname = "{name}"\nfiles = {{ {files} }}\n'
        text += "" if span_s is None else f"start_s = {span_s[0]}\nend_s = {span_s[1]}\n"
    (folder / "session.toml").write_text(text)


@pytest.fixture
def whole(samples, spans_s, tmp_path):
    folder = tmp_path / "whole"
    for place, rows in samples.items():
        write(folder / "logs" / f"{place}.h5", rows)
    declare(folder, [(f"run-{number}", "logs", span_s) for number, span_s in enumerate(spans_s, start=1)])
    return folder


def lines(command, folder):
    status, out, err = command("check", folder, "--json")
    assert status in {0, 3}, err
    return json.loads(out)["lines"]


def verdict(line):
    return line["check"], line["recording"], line["where"], line["verdict"]


def said(found, check, where, run="run-1"):
    (line,) = (
        line for line in found if (line["check"], line["where"], line["recording"]) == (check, where, run)
    )
    return line


def test_runs_in_whole_logs_are_told_as_in_files_of_their_own(command, whole, samples, spans_s, tmp_path):
    folder = tmp_path / "pieces"
    for number, (from_s, to_s) in enumerate(spans_s, start=1):
        for place, rows in samples.items():
            inside = (rows[:, 0] >= from_s) & (rows[:, 0] <= to_s)
            write(folder / f"run-{number}" / f"{place}.h5", rows[inside])
    declare(folder, [(f"run-{number}", f"run-{number}", None) for number in (1, 2)])
    found, expected = lines(command, whole), lines(command, folder)
    assert len(expected) > 80
    assert [verdict(line) for line in found] == [verdict(line) for line in expected]
    # The lag of the pelvis is known to some tenths of a second: its pieces differ by some rows.
    of_skates = [
        [line for line in told if line["where"] != "pelvis" and line["check"] != "log_end"]
        for told in (found, expected)
    ]
    assert of_skates[0] == of_skates[1]


def test_a_log_of_hours_is_never_held(samples, spans_s, tmp_path):
    """Two hours of rest behind the runs: 80 MB a sensor, were it held."""
    rate_hz, hours = 200.0, 2.0
    for place, rows in samples.items():
        rest = Evening((Part("rest", 3600 * hours),), rate_hz, PLACES).samples(place)
        rest[:, 0] += rows[-1, 0] + 1 / rate_hz - rest[0, 0]
        write(tmp_path / "logs" / f"{place}.h5", np.concatenate((rows, rest)))
    declare(tmp_path, [("run-1", "logs", spans_s[0])])
    held = 3600 * hours * rate_hz * 7 * 8
    tracemalloc.start()
    try:
        report = check_session(tmp_path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert held > 80e6
    assert peak < held
    assert {line.verdict for line in report.lines if line.check in {"file", "rate", "shocks"}} == {"pass"}


def test_a_span_without_rest_is_looked_around(command, whole, spans_s):
    from_s, to_s = spans_s[0]
    declare(whole, [("run-1", "logs", (from_s + 7.5, to_s - 7.3))])
    found = lines(command, whole)
    for place in ("left_skate", "right_skate"):
        assert "never at rest" not in said(found, "gravity", place)["measured"]
        assert said(found, "bandwidth", place)["verdict"] == "pass"


def test_a_sensor_that_does_not_reach_the_run_is_named(command, whole, samples, spans_s):
    rows = samples["pelvis"]
    write(whole / "logs" / "pelvis.h5", rows[rows[:, 0] < spans_s[1][0] - 10.0])
    found = lines(command, whole)
    line = said(found, "file", "pelvis", "run-2")
    assert line["verdict"] == "fail"
    assert "run 'run-2': start_s and end_s lie outside the log of pelvis" in line["measured"]
    assert said(found, "file", "pelvis", "run-1")["verdict"] == "pass"
    assert said(found, "file", "left_skate", "run-2")["verdict"] == "pass"


def test_a_span_outside_the_first_log_is_told_of_every_sensor(command, whole):
    declare(whole, [("run-1", "logs", (9000.0, 9020.0))])
    found = lines(command, whole)
    for place in PLACES:
        assert "lie outside the log of left_skate, 0.00 to" in said(found, "file", place)["measured"]


def test_a_whole_log_copied_is_told(command, whole):
    shutil.copy(whole / "logs" / "left_skate.h5", whole / "logs" / "right_skate.h5")
    assert said(lines(command, whole), "file", "right_skate")["measured"] == "the same samples as left_skate"
