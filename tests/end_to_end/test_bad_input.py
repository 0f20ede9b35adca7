"""Bad input: a clear line, the right exit status, nothing half-written."""

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
