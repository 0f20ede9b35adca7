"""Bad input: a clear line, the right exit status, nothing half-written."""

import re

import numpy as np
import pandas as pd
import pytest

RIGHT = "run-1/right_skate.csv"


def edit(path, change):
    path.write_text("\n".join(change(path.read_text(encoding="utf-8").splitlines())) + "\n", encoding="utf-8")


def cut_to(rows):
    return lambda lines: lines[: rows + 1]


def cell(row, column, text):
    def change(lines):
        cells = lines[row].split(",")
        cells[column] = text
        return [*lines[:row], ",".join(cells), *lines[row + 1 :]]

    return change


def backwards(lines):
    middle = len(lines) // 2
    return [*lines[: middle + 400], *lines[middle:]]


SPOILED = {
    "missing file": (lambda folder: (folder / RIGHT).unlink(), "right_skate.csv"),
    "empty file": (lambda folder: (folder / RIGHT).write_bytes(b""), "right_skate.csv"),
    "header only": (lambda folder: edit(folder / RIGHT, cut_to(0)), "right_skate.csv"),
    "wrong column": (lambda folder: edit(folder / RIGHT, cell(0, 1, "accel")), "ax"),
    "text in a number column": (lambda folder: edit(folder / RIGHT, cell(1000, 4, "n.a.")), "n.a."),
    "time running backwards": (lambda folder: edit(folder / RIGHT, backwards), "right_skate.csv"),
}


@pytest.mark.parametrize("fault", SPOILED)
def test_an_unreadable_run_is_named_and_the_others_stand(session, command, tmp_path, fault):
    spoil, said = SPOILED[fault]
    spoil(session)
    out = tmp_path / "results"
    status, table, err = command("analyse", session, "--out", out)
    assert status == 3
    (line,) = [line for line in err.splitlines() if line.startswith("imustride: ")]
    assert "run-1" in line
    assert said in line
    assert "run-2" in table
    assert (out / "provenance.json").exists()


BROKEN = {
    "no such session": (lambda folder: folder.rename(folder.with_name("elsewhere")), "session"),
    "no session file": (lambda folder: (folder / "session.toml").unlink(), "session.toml"),
    "no TOML": (
        lambda folder: (folder / "session.toml").write_text("athlete = ", encoding="utf-8"),
        "session.toml",
    ),
    "unknown key": (
        lambda folder: edit(folder / "session.toml", lambda lines: ['colour = "red"', *lines]),
        "colour",
    ),
    "no unit": (
        lambda folder: edit(
            folder / "session.toml",
            lambda lines: [line for line in lines if not line.startswith('angular_velocity = "deg')],
        ),
        "angular_velocity",
    ),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_an_unreadable_session_writes_nothing(session, command, tmp_path, fault):
    spoil, said = BROKEN[fault]
    spoil(session)
    status, table, err = command("analyse", session, "--out", tmp_path / "results")
    assert status == 3
    assert table == ""
    (line,) = [line for line in err.splitlines() if line.startswith("imustride: ")]
    assert said in line
    assert [path.name for path in tmp_path.iterdir() if "results" in path.name] == []


def test_a_wrong_unit_is_noticed(session, command, tmp_path):
    edit(session / "session.toml", lambda lines: [line.replace('"deg/s"', '"rad/s"') for line in lines])
    status, _, err = command("analyse", session, "--out", tmp_path / "results")
    assert status == 3
    assert "deg/s" in err
    assert command("inspect", session)[0] == 3


def test_one_sensor_only_is_still_measured(session, command, tmp_path):
    edit(
        session / "session.toml",
        lambda lines: [line.replace(f', right_skate = "{RIGHT}"', "") for line in lines],
    )
    status, table, _ = command("analyse", session, "--out", tmp_path / "results")
    assert status == 0
    assert "run-1" in table


@pytest.mark.parametrize("part", ["stance", "motion"])
def test_a_run_without_stance_or_push_is_a_result_with_its_reason(session, command, tmp_path, part):
    for side in ("left", "right"):
        path = session / "run-1" / f"{side}_skate.csv"
        lines = path.read_text(encoding="utf-8").splitlines()
        kept = lines[: len(lines) // 12] if part == "motion" else [lines[0], *lines[len(lines) // 2 :]]
        path.write_text("\n".join(kept) + "\n", encoding="utf-8")
    status, table, _ = command("analyse", session, "--out", tmp_path / "results")
    assert status == 0
    (line,) = [line for line in table.splitlines() if line.startswith("run-1 ")]
    assert "left out: " in line


def test_exchanged_feet_are_said_loudly(session, command, tmp_path):
    for run in ("run-1", "run-2"):
        left, right = (session / run / f"{side}_skate.csv" for side in ("left", "right"))
        left.rename(session / "keep.csv")
        right.rename(left)
        (session / "keep.csv").rename(right)
    _, table, _ = command("analyse", session, "--out", tmp_path / "results")
    assert "swapped" in table
    assert "swapped" in (tmp_path / "results" / "summary.html").read_text(encoding="utf-8")


def test_logs_of_different_length_are_fine(session, command, tmp_path):
    edit(session / RIGHT, lambda lines: lines[: len(lines) - 150])
    assert command("analyse", session, "--out", tmp_path / "results", "--quiet")[0] == 0


def test_the_other_foot_stands_where_one_file_cannot_be_read(session, command, tmp_path):
    (session / RIGHT).unlink()
    assert command("analyse", session, "--out", tmp_path / "results")[0] == 3
    pushes = pd.read_csv(tmp_path / "results" / "pushes.csv")
    assert set(pushes[pushes["run"] == "run-1"]["side"]) == {"left"}
    runs = pd.read_csv(tmp_path / "results" / "runs.csv").set_index("run")
    assert not runs.loc["run-1", "usable"]
    assert "right_skate.csv" in runs.loc["run-1", "reason"]


def test_gates_that_cannot_be_read_leave_the_run_standing(session, command, tmp_path):
    (session / "run-1" / "gates.csv").write_text("position_m,time_s\n0,zero\n", encoding="utf-8")
    status, _, err = command("analyse", session, "--out", tmp_path / "results")
    assert status == 3
    assert "imustride: run-1: run-1/gates.csv" in err
    runs = pd.read_csv(tmp_path / "results" / "runs.csv").set_index("run")
    assert runs["usable"].all()
    assert np.isnan(runs.loc["run-1", "gate_time_s"])


def test_both_files_missing_leave_an_empty_run(session, command, tmp_path):
    for side in ("left", "right"):
        (session / "run-1" / f"{side}_skate.csv").unlink()
    status, table, err = command("analyse", session, "--out", tmp_path / "results")
    assert status == 3
    assert len([line for line in err.splitlines() if line.startswith("imustride: run-1: ")]) == 2
    assert "run-2" in table
    assert set(pd.read_csv(tmp_path / "results" / "pushes.csv")["run"]) == {"run-2"}


def test_wrong_axes_are_not_used_and_said(session, command, tmp_path):
    toml = (session / "session.toml").read_text(encoding="utf-8")
    forward, left, _ = re.search(r'axes = \["(.*)", "(.*)", "(.*)"\]', toml).groups()
    turned = [axis.translate(str.maketrans("+-", "-+")) for axis in (forward, left)]
    wrong = toml.replace(f'"{forward}", "{left}"', f'"{turned[0]}", "{turned[1]}"', 1)
    (session / "session.toml").write_text(wrong, encoding="utf-8")
    assert command("analyse", session, "--out", tmp_path / "results", "--quiet")[0] == 0
    runs = pd.read_csv(tmp_path / "results" / "runs.csv")
    assert runs["usable"].all()
    page = (tmp_path / "results" / "summary.html").read_text(encoding="utf-8")
    assert "the declared axes of the left sensor point 180 degrees away" in page or "179 degrees away" in page


def join_logs(session, place, pause_s):
    """Put both runs' rows of one sensor into one file; the second log follows on the same clock."""
    tables = [pd.read_csv(session / run / f"{place}.csv") for run in ("run-1", "run-2")]
    shift = tables[0]["time_s"].iloc[-1] + pause_s - tables[1]["time_s"].iloc[0]
    tables[1]["time_s"] += shift
    pd.concat(tables).to_csv(session / f"{place}.csv", index=False)
    return [(table["time_s"].iloc[0], table["time_s"].iloc[-1]) for table in tables]


def test_runs_are_cut_from_one_long_log_on_the_first_clock(session, command, tmp_path):
    apart = tmp_path / "apart"
    assert command("analyse", session, "--out", apart, "--quiet")[0] == 0
    spans = join_logs(session, "left_skate", 4.0)
    join_logs(session, "right_skate", 4.0)
    lines = (session / "session.toml").read_text(encoding="utf-8").split("[[runs]]")[0].splitlines()
    for run, (first, last) in zip(("run-1", "run-2"), spans, strict=True):
        lines += ["[[runs]]", f'name = "{run}"', f"start_s = {first - 0.5:.3f}", f"end_s = {last + 0.5:.3f}"]
        lines += ['files = { left_skate = "left_skate.csv", right_skate = "right_skate.csv" }']
    (session / "session.toml").write_text("\n".join(lines), encoding="utf-8")
    assert command("analyse", session, "--out", tmp_path / "joined", "--quiet")[0] == 0
    one, other = (pd.read_csv(folder / "pushes.csv") for folder in (apart, tmp_path / "joined"))
    assert (one[["run", "side", "push"]] == other[["run", "side", "push"]]).all(axis=None)
    first = one["run"] == "run-1"
    np.testing.assert_allclose(one[first]["blade_off_s"], other[first]["blade_off_s"], atol=2e-3)
    np.testing.assert_allclose(one["contact_time_s"], other["contact_time_s"], atol=4e-3)


def test_a_span_outside_the_log_is_a_result_with_its_reason(session, command, tmp_path):
    edit(
        session / "session.toml",
        lambda lines: [
            line.replace('name = "run-1"', 'name = "run-1"\nstart_s = 900.0\nend_s = 930.0') for line in lines
        ],
    )
    status, table, _ = command("analyse", session, "--out", tmp_path / "results")
    assert status == 0
    (line,) = [line for line in table.splitlines() if line.startswith("run-1 ")]
    assert "start_s" in line
