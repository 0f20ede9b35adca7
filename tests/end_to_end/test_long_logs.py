"""`imustride prepare --cut`: one log a sensor for a whole evening, cut into the runs of three invented athletes."""

import datetime as dt
import json
import re
import shutil
import sys

import h5py
import numpy as np
import pandas as pd
import pytest

from imustride.session import read_session
from tests.generators.evening import CLOCKS_S, evening

ATHLETES = {"A07": 3, "B10": 4, "C13": 5}
HEADER = "date,time,athlete,consent,run,left_skate_device,right_skate_device,pelvis_device,gate_30.48_m_time_s,start_s,end_s"
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
BEGIN = dt.datetime(2026, 10, 3, 18, 0)  # noqa: DTZ001 - the list's clock has no zone


@pytest.fixture(scope="module")
def simulated():
    return evening(ATHLETES, 2, places=("pelvis",))


@pytest.fixture(scope="module")
def recorded(simulated, tmp_path_factory):
    """Write the logs of the evening once."""
    folder = tmp_path_factory.mktemp("recorded")
    for place in simulated.places:
        samples = simulated.samples(place)
        with h5py.File(folder / f"{place}.h5", "w") as file:
            file["time"] = samples[:, 0]
            file["acc"] = samples[:, 1:4].astype("f4")
            file["gyr"] = np.degrees(samples[:, 4:]).astype("f4")
    (folder / "kit.toml").write_text(KIT)
    return folder


def line(begin_s, part, *, cut=",", seconds=""):
    when = f"{BEGIN + dt.timedelta(seconds=begin_s + 8.0):%H:%M{seconds}}"
    return f"2026-10-03,{when},{part.athlete},guardian,{part.run},S041,S042,S050,{part.gate_time_s:.3f},{cut}"


@pytest.fixture
def prepare(command, recorded, tmp_path):
    def call(lines, *more, logs=recorded):
        (tmp_path / "list.csv").write_text("\n".join([HEADER, *lines, ""]))
        kit = recorded / "kit.toml"
        return command(
            "prepare",
            tmp_path / "list.csv",
            "--kit",
            kit,
            "--logs",
            logs,
            "--cut",
            "--out",
            tmp_path / "out",
            *more,
        )

    return call


@pytest.fixture
def lines(simulated):
    return [line(begin_s, part) for begin_s, part in simulated.runs()]


@pytest.fixture
def of_one(simulated):
    """The lines of one athlete; the first says where its run lies, which tells all other runs from the second."""
    mine = [(begin_s, part) for begin_s, part in simulated.runs() if part.athlete == "A07"]
    said = mine[0][0] + CLOCKS_S["left_skate"]
    cuts = (f"{said:.1f},{said + mine[0][1].length_s:.1f}", ",")
    return [line(*one, cut=cut, seconds=":%S") for one, cut in zip(mine, cuts, strict=True)]


def test_every_run_is_cut_out_of_every_log_and_can_be_analysed(
    prepare, lines, simulated, recorded, command, tmp_path, monkeypatch
):
    with monkeypatch.context() as on_terminal:
        on_terminal.setattr(sys.stderr, "isatty", lambda: True)
        status, out, err = prepare(lines, "--json")
    assert status == 0, err
    written = re.findall(r"writing \[[#-]+\] (\d+)/(\d+) (\S*)", err)
    assert [(int(number), count) for number, count, _ in written] == [(n, "18") for n in range(1, 19)]
    assert written[-1][2].startswith("2026-10-03-C13/run-2/")
    assert "reading [" in err
    (group,) = json.loads(out)["cut"]
    for found, (begin_s, part) in zip(group["lines"], simulated.runs(), strict=True):
        assert (found["athlete"], found["run"]) == (part.athlete, part.run)
        for place, (from_s, to_s) in found["spans_s"].items():
            # Shocks lie 2 s behind the begin of a simulated log and 2 s before its end; 2 s around them are kept.
            at_s = begin_s + CLOCKS_S[place]
            assert from_s == pytest.approx(at_s, abs=1.5)
            assert to_s == pytest.approx(at_s + part.length_s, abs=2.5)
    folder = tmp_path / "out" / "2026-10-03-B10"
    session = read_session(folder)
    assert [run.name for run in session.runs] == ["run-1", "run-2"]
    assert session.runs[0].start_s is None
    with h5py.File(recorded / "pelvis.h5") as whole, h5py.File(folder / "run-1" / "pelvis.h5") as piece:
        first = int(np.flatnonzero(whole["time"][:] == piece["time"][0])[0])
        for name in ("time", "acc", "gyr"):
            np.testing.assert_array_equal(piece[name][:], whole[name][first : first + len(piece[name])])
            assert piece[name].dtype == whole[name].dtype
    assert command("analyse", folder, "--out", tmp_path / "results", "--quiet")[0] == 0
    pushes = pd.read_csv(tmp_path / "results" / "pushes.csv")
    for _, part in simulated.runs():
        if part.athlete == "B10":
            mine = pushes[(pushes["run"] == part.run) & pushes["contact_time_s"].notna()]
            assert len(mine) > 6
            assert mine["pelvis_vertical_range_m"].notna().mean() > 0.5


def test_a_second_time_nothing_changes(prepare, lines, tmp_path):
    assert prepare(lines)[0] == 0
    before = {path: path.stat().st_mtime_ns for path in (tmp_path / "out").rglob("*/*.h5")}
    status, out, _ = prepare(lines)
    assert (status, "0 sessions, 3 there already" in out) == (0, True)
    assert {path: path.stat().st_mtime_ns for path in (tmp_path / "out").rglob("*/*.h5")} == before


def test_a_dry_run_writes_nothing(prepare, lines, tmp_path):
    status, out, _ = prepare(lines, "--dry-run")
    assert (status, (tmp_path / "out").exists()) == (0, False)
    assert re.search(r"7 +C13 +run-2 +\d+\.\d +\d+\.\d +4", out)


def test_runs_on_no_line_are_named_and_one_athletes_logs_stay_whole(
    prepare, of_one, simulated, command, tmp_path
):
    status, _, err = prepare(of_one)
    assert status == 3
    assert err.count("is on no line of list.csv") == 4
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "cut-1.png",
        "cut-1.svg",
        "cut.html",
    ]
    status, _, err = prepare(of_one, "--partial")
    assert (status, err.count("is on no line")) == (3, 4)
    page = (tmp_path / "out" / "cut.html").read_text(encoding="utf-8")
    assert page.count("is on no line of list.csv") == 4
    assert f"imustride analyse {tmp_path / 'out' / '2026-10-03-A07'} --out results" in page
    folder = tmp_path / "out" / "2026-10-03-A07"
    session = read_session(folder)
    assert session.runs[0].files["left_skate"] == "logs/left_skate.h5"
    begins = [begin_s + CLOCKS_S["left_skate"] for begin_s, part in simulated.runs() if part.athlete == "A07"]
    assert [run.start_s for run in session.runs] == pytest.approx(begins, abs=1.5)
    assert command("analyse", folder, "--out", tmp_path / "whole", "--quiet")[0] == 0
    pushes = pd.read_csv(tmp_path / "whole" / "pushes.csv")
    assert (pushes.groupby("run")["contact_time_s"].count() > 6).all()
    assert pushes["pelvis_vertical_range_m"].notna().mean() > 0.4


def test_a_whole_log_and_pieces_give_the_same(prepare, lines, of_one, command, tmp_path):
    assert prepare(lines)[0] == 0
    folder = tmp_path / "out" / "2026-10-03-A07"
    assert command("analyse", folder, "--out", tmp_path / "pieces", "--quiet")[0] == 0
    shutil.rmtree(tmp_path / "out")
    assert prepare(of_one, "--partial")[0] == 3
    assert command("analyse", folder, "--out", tmp_path / "whole", "--quiet")[0] == 0
    one, other = (pd.read_csv(tmp_path / name / "pushes.csv") for name in ("pieces", "whole"))
    assert (one[["run", "side", "push"]] == other[["run", "side", "push"]]).all(axis=None)
    found = one["run"] == "run-2"  # the list says another begin and end of the first
    np.testing.assert_allclose(one[found]["blade_off_s"], other[found]["blade_off_s"], atol=1e-4)


def test_a_line_too_many_is_named_and_nothing_is_written_but_the_picture(prepare, simulated, tmp_path):
    runs = simulated.runs()
    lines = [line(begin_s, part, seconds=":%S") for begin_s, part in runs]
    _, last = runs[-1]
    extra = line(runs[-1][0] + 150.0, last, seconds=":%S").replace("run-2", "run-3")
    status, out, err = prepare([*lines, extra], "--language", "fr")
    assert status == 3
    assert "list.csv, line 8, C13 run-3: no run for it in left_skate.h5" in err
    assert "nothing written: 1 problem" in out
    page = (tmp_path / "out" / "cut.html").read_text(encoding="utf-8")
    assert '<html lang="fr">' in page
    assert "list.csv, ligne 8, C13 run-3\N{NO-BREAK SPACE}: aucun essai pour elle dans left_skate.h5" in page
    assert f"imustride prepare {tmp_path / 'list.csv'} --cut --kit " in page
    assert f" --language fr --out {tmp_path / 'out'}</code>" in page
    assert "imustride analyse" not in page
    assert "default-src 'none'" in page
    assert not re.search(r"<script|https?:|src=", page)
    assert not (tmp_path / "out" / "2026-10-03-A07").exists()


def test_what_may_be_either_is_decided_by_the_list(prepare, simulated):
    # One line is missing and the times are those of a plan, every five minutes: any of the others may be shifted by one.
    runs = [(300.0 * number, part) for number, (_, part) in enumerate(simulated.runs())][1:]
    status, _, err = prepare([line(begin_s, part) for begin_s, part in runs])
    assert status == 3
    assert "not decided; give start_s and end_s of a line" in err or "is on no line" in err
    said = simulated.runs()[-1][0] + CLOCKS_S["left_skate"]
    lines = [line(begin_s, part) for begin_s, part in runs]
    lines[-1] = line(*runs[-1], cut=f"{said:.1f},{said + 22.0:.1f}")
    status, out, err = prepare(lines, "--json", "--partial")
    (group,) = json.loads(out)["cut"]
    assert group["lines"][-1]["spans_s"]["left_skate"] == pytest.approx([said, said + 22.0], abs=0.06)


def test_a_sensor_whose_log_ends_before_a_run_is_named(prepare, lines, simulated, recorded, tmp_path):
    logs = tmp_path / "logs"
    shutil.copytree(recorded, logs)
    begin_s = simulated.runs()[-1][0] + CLOCKS_S["pelvis"]
    with h5py.File(recorded / "pelvis.h5") as whole, h5py.File(logs / "pelvis.h5", "w") as cut:
        kept = whole["time"][:] < begin_s - 20.0
        for name in ("time", "acc", "gyr"):
            cut[name] = whole[name][:][kept]
    status, _, err = prepare(lines, logs=logs)
    assert status == 3
    assert "line 7, C13 run-2: not at pelvis: pelvis.h5 does not reach there" in err
    assert err.count("not at pelvis") == 1


def test_logs_of_different_skaters_are_refused(prepare, lines, recorded, tmp_path):
    logs = tmp_path / "logs"
    shutil.copytree(recorded, logs)
    with h5py.File(recorded / "right_skate.h5") as whole, h5py.File(logs / "right_skate.h5", "w") as other:
        other["time"] = whole["time"][:]
        rng = np.random.default_rng(1)
        for name in ("acc", "gyr"):  # seven minutes of moving in another order
            pieces = np.array_split(whole[name][:], 40)
            rng = np.random.default_rng(1)
            other[name] = np.concatenate([pieces[place] for place in rng.permutation(40)])
    status, _, err = prepare(lines, logs=logs)
    assert status == 3
    assert "do not move together" in err


def test_a_language_that_is_not_there_is_told(prepare, lines):
    status, _, err = prepare(lines, "--language", "xx")
    assert (status, "--language: found 'xx', wanted one of en, fr" in err) == (2, True)


@pytest.mark.parametrize("more", [("--link",), ("--sheet-only",)])
def test_options_that_do_not_go_together(prepare, lines, more):
    status, _, err = prepare(lines, *more)
    assert (status, "--cut: not with" in err) == (2, True)
