"""`imustride check` on session folders and files: fit, not fit, keep or repeat, the record."""

import json
import shutil
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.generators.fitted import first_fitted
from tests.generators.folders import _table
from tests.generators.loose import LooseMount

DEMO = Path(__file__).parents[2] / "recordings" / "demo"
LEFT, RIGHT = "left_skate", "right_skate"
LOOSE = {"right": LooseMount(26.0, 0.03, (0.8, 0.6, 0.0), (-0.0012, 0.0016, 0.002))}


@pytest.fixture
def session(tmp_path):
    """Give a copy of the demo, of which the first two runs are recorded."""
    folder = shutil.copytree(DEMO, tmp_path / "session")
    for run in ("run-3", "run-4"):
        shutil.rmtree(folder / run)
    return folder


def lines(out):
    """Split the table into rows: verdict, check, where, measured."""
    rows = [line for line in out.splitlines() if line.split("  ")[0] in {"pass", "WARN", "FAIL", "not told"}]
    return [[cell.strip() for cell in row.split("  ") if cell.strip()] for row in rows]


def failing(out):
    return {(row[1], row[2]) for row in lines(out) if row[0] == "FAIL"}


def edit(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def change(session, run, place, columns, by):
    path = session / run / f"{place}.csv"
    table = pd.read_csv(path)
    table[columns] = by(table[columns])
    table.to_csv(path, index=False)


def fitting_folder(folder, loose=None):
    """Write the guided form of the first generator as the only thing a session holds so far."""
    made = first_fitted(4, fitting=True, loose=loose)
    folder.mkdir()
    text = (
        'athlete = "Q7"\ndate = 2026-10-03\nsurface = "ice"\nprotocol = "sprint-100ft"\n'
        '[columns]\ntime = "time_s"\nacceleration = ["ax", "ay", "az"]\nangular_velocity = ["gx", "gy", "gz"]\n'
        '[units]\ntime = "s"\nacceleration = "m/s^2"\nangular_velocity = "deg/s"\n'
    )
    for place, log in made.logs.items():
        text += f'[[sensors]]\nplace = "{place}"\ndevice = "{log.sensor.device}"\n'
        _table(log).to_csv(folder / f"{place}.csv", index=False)
    named = "{ " + ", ".join(f'{place} = "{place}.csv"' for place in made.logs) + " }"
    text += f'[[movements]]\nkind = "fitting"\nfiles = {named}\n'
    text += '[[runs]]\nname = "run-1"\nfiles = { left_skate = "run-1/l.csv", right_skate = "run-1/r.csv" }\n'
    (folder / "session.toml").write_text(text, encoding="utf-8")
    return folder


def test_good_sensors_pass_with_a_word_about_calibration(session, command):
    status, out, err = command("check", session)
    assert (status, err) == (0, "")
    found = lines(out)
    assert {row[0] for row in found} == {"pass", "WARN"}
    assert {row[1] for row in found if row[0] == "WARN"} == {"calibration"}
    assert "warn: calibration, left_skate and right_skate: calibrate it" in out
    assert "\nleft_skate (SIML): warn: calibration\n" in out
    assert "\nboth skates: pass\n" in out
    assert out.rstrip().endswith("all sensors pass, with warnings")


def test_the_table_is_aligned(session, command):
    rows = [line for line in command("check", session)[1].splitlines() if line.startswith(("pass", "WARN"))]
    starts = {row.index("left_skate") for row in rows if "left_skate" in row}
    assert len(starts) == 1


PLANTED = {
    "acceleration in g": (
        lambda folder: change(folder, "run-1", RIGHT, ["ax", "ay", "az"], lambda values: values / 9.80665),
        ("gravity at rest", RIGHT),
    ),
    "sensor in half its range": (
        lambda folder: edit(folder / "session.toml", "angular_velocity_range_deg_s = 2000.0", "angular_velocity_range_deg_s = 500.0"),
        ("range", LEFT),
    ),
    "copied file": (
        lambda folder: shutil.copy(folder / "run-2" / f"{LEFT}.csv", folder / "run-2" / f"{RIGHT}.csv"),
        ("recorded", RIGHT),
    ),
    "calibration of another device": (
        lambda folder: shutil.copy(DEMO.parents[1] / "calibration/S041/2026-09-20.toml", folder / "other.toml")
        and edit(folder / "session.toml", 'device = "SIML"', 'device = "SIML"\ncalibration = "other.toml"'),
        ("calibration", LEFT),
    ),
    "exchanged files": (
        lambda folder: [
            (folder / run / f"{LEFT}.csv").rename(folder / run / "x.csv")
            and (folder / run / f"{RIGHT}.csv").rename(folder / run / f"{LEFT}.csv")
            and (folder / run / "x.csv").rename(folder / run / f"{RIGHT}.csv")
            for run in ("run-1", "run-2")
        ],
        ("left and right", "both skates"),
    ),
    "gyroscope reversed": (
        lambda folder: change(folder, "run-2", LEFT, ["gx", "gy", "gz"], lambda values: -values),
        ("gyroscope at rest", LEFT),
    ),
    "log that dies": (
        lambda folder: (folder / "run-2" / f"{RIGHT}.csv").write_text(
            "".join((folder / "run-2" / f"{RIGHT}.csv").read_text(encoding="utf-8").splitlines(keepends=True)[:2900]),
            encoding="utf-8",
        ),
        ("end of the log", RIGHT),
    ),
}  # fmt: skip


@pytest.mark.parametrize("fault", PLANTED)
def test_a_fault_in_one_file_is_named(session, command, fault):
    plant, expected = PLANTED[fault]
    plant(session)
    status, out, _ = command("check", session)
    assert status == 3
    assert expected in failing(out)
    assert "NOT FIT" in out


def test_a_good_run_is_kept_in_seconds(session, command):
    begin_s = time.process_time()
    status, out, err = command("check", session, "--run", "run-1")
    assert time.process_time() - begin_s < 5, "of computing; other work on the machine does not count"
    assert (status, err) == (0, "")
    assert "\nrun-1: keep\n" in out


def test_a_stumble_is_repeated(command):
    status, out, _ = command("check", DEMO, "--run", "run-3")
    assert status == 3
    assert "run-3: repeat because:\n  - the rhythm breaks" in out
    assert not failing(out)


def test_what_can_be_corrected_need_not_be_repeated(session, command):
    PLANTED["exchanged files"][0](session)
    status, out, _ = command("check", session, "--run", "run-2")
    assert status == 3
    assert "run-2: keep\ncorrect, then ask again:\n" in out
    assert "  - left and right, both skates: SWAPPED" in out


def test_a_wrong_unit_must_be_corrected_before_anything_is_said(session, command):
    PLANTED["acceleration in g"][0](session)
    status, out, _ = command("check", session, "--run", "run-1", "--json")
    told = json.loads(out)["advice"]
    assert (status, told["verdict"], told["because"]) == (3, "correct first", [])
    assert any("this looks like g" in line for line in told["correct"])


def test_a_missing_file_is_no_reason_to_skate_again(session, command):
    (session / "run-2" / f"{LEFT}.csv").unlink()
    status, out, _ = command("check", session, "--run", "run-2")
    assert status == 3
    assert "run-2: correct first\ncorrect, then ask again:\n  - recorded, left_skate: run-2/left" in out


def test_runs_that_are_not_there_yet_are_left_out(session, command):
    shutil.rmtree(session / "run-2")
    status, out, _ = command("check", session)
    assert status == 0
    assert "not recorded yet: run-2, run-3, run-4" in out


def test_json_holds_every_line_and_no_nan(session, command):
    status, out, _ = command("check", session, "--json")
    told = json.loads(out, parse_constant=pytest.fail)
    assert (status, told["verdict"], told["failed"]) == (0, "warn", False)
    assert told["recordings"] == ["run-1", "run-2"]
    rate = next(line for line in told["lines"] if line["check"] == "rate" and line["where"] == RIGHT)
    assert rate["value"] == pytest.approx(250.0, rel=1e-3)
    assert (rate["unit"], rate["verdict"], rate["recording"]) == ("Hz", "pass", "run-1")


def test_the_guided_form_passes(tmp_path, command):
    folder = fitting_folder(tmp_path / "new")
    for options in ((), ("--fitting",)):
        status, out, err = command("check", folder, *options)
        assert (status, err) == (0, "")
        said = {row[1]: row for row in lines(out) if row[2] in {"both skates", RIGHT}}
        assert said["left and right"][3] == "tapped left, then right"
        assert said["shared shocks"][3] == "2 shared"
        assert said["tight mounting"][0] == "pass"
        assert said["clocks"][3].startswith("offset ")


def test_the_guided_form_finds_a_loose_sensor_and_swapped_ones(tmp_path, command):
    folder = fitting_folder(tmp_path / "new", LOOSE)
    status, out, _ = command("check", folder, "--fitting")
    assert status == 3
    assert failing(out) == {("tight mounting", RIGHT)}
    assert "rings at 26 Hz" in out
    files = [f"{LEFT}={folder / RIGHT}.csv", f"{RIGHT}={folder / LEFT}.csv"]
    status, out, _ = command("check", *files, "--columns", folder / "session.toml", "--fitting")
    assert status == 3
    assert failing(out) == {("tight mounting", LEFT), ("left and right", "both skates")}


def test_the_record_is_one_page_that_needs_nothing_else(session, command, tmp_path):
    page = tmp_path / "record.html"
    assert command("check", session, "--out", page)[0] == 0
    text = page.read_text(encoding="utf-8")
    assert "default-src 'none'" in text
    assert "http" not in text.replace("http-equiv", "")
    assert text.index("Safety first") < text.index("Every check")
    assert "WARN" in text
    assert command("check", session, "--out", page)[0] == 0, "an earlier record may be replaced"


def test_the_record_never_replaces_another_file(session, command, tmp_path):
    other = tmp_path / "thesis.html"
    other.write_text("<p>mine</p>", encoding="utf-8")
    status, _, err = command("check", session, "--out", other)
    assert status == 2
    assert err.startswith(f"imustride: {other}: found another file there")
    assert other.read_text(encoding="utf-8") == "<p>mine</p>"


def test_a_dry_run_writes_nothing(session, command, tmp_path):
    status, out, _ = command("check", session, "--out", tmp_path / "record.html", "--dry-run")
    assert status == 0
    assert "nothing written (dry run)" in out
    assert not (tmp_path / "record.html").exists()


def test_text_of_a_session_cannot_become_markup(session, command, tmp_path):
    edit(session / "session.toml", 'protocol = "sprint-100ft"', 'protocol = "<script>alert(1)</script>"')
    command("check", session, "--out", tmp_path / "record.html")
    assert "<script" not in (tmp_path / "record.html").read_text(encoding="utf-8")


REFUSED = {
    "no such session": (("nowhere",), 2, "no such session folder or file"),
    "no such run": (("SESSION", "--run", "run-9"), 2, "found 'run-9', wanted one of run-1, run-2, run-3, run-4"),
    "no guided form": (("SESSION", "--fitting"), 3, 'no [[movements]] of kind "fitting"'),
    "files without units": (("left_skate=SESSION/run-1/left_skate.csv",), 2, "units are never guessed"),
    "a run of files": (("left_skate=a.csv", "--columns", "SESSION/session.toml", "--run", "run-1"), 2, "--run needs"),
    "unknown place": (("tail=SESSION/run-1/left_skate.csv", "--columns", "SESSION/session.toml"), 2, "tail: no such place"),
    "one place twice": (("left_skate=a", "left_skate=b", "--columns", "SESSION/session.toml"), 2, "given twice"),
    "columns of a session": (("SESSION", "--columns", "SESSION/session.toml"), 2, "leave --columns out"),
    "no such columns": (("left_skate=a.csv", "--columns", "none.toml"), 3, "none.toml: no such file"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_wrong_usage_is_refused_in_one_line(session, command, case):
    arguments, expected, said = REFUSED[case]
    status, out, err = command(
        "check", *(argument.replace("SESSION", str(session)) for argument in arguments)
    )
    assert (status, out) == (expected, "")
    assert said in err
    (line,) = [line for line in err.splitlines() if line.startswith(("imustride: ", "Error: "))]
    assert "Traceback" not in err
    assert line


@pytest.mark.parametrize("rows", [0, 3, 40])
def test_a_stub_of_a_file_is_told_not_crashed_on(session, command, rows):
    path = session / "run-1" / f"{LEFT}.csv"
    path.write_text(
        "\n".join(path.read_text(encoding="utf-8").splitlines()[: rows + 1]) + "\n", encoding="utf-8"
    )
    status, out, err = command("check", session, "--run", "run-1")
    assert status == 3
    assert "Traceback" not in err
    assert any(where == LEFT or "both" in where for _, where in failing(out))


def test_a_recording_in_which_nobody_moves(session, command):
    for place in (LEFT, RIGHT):
        path = session / "run-1" / f"{place}.csv"
        table = pd.read_csv(path)
        rng = np.random.default_rng(len(place))
        still = rng.normal([0, 0, 9.8, 0, 0, 0], 0.05, (len(table), 6))
        table[["ax", "ay", "az", "gx", "gy", "gz"]] = still.round(4)
        table.to_csv(path, index=False)
    status, out, _ = command("check", session, "--run", "run-1")
    assert status == 3
    assert ("protocol", "both skates") in failing(out)
    assert "nothing moves" in out
