"""Many sessions: the same results however many do them, whatever fails, and whenever it is interrupted."""

import contextlib
import json
import multiprocessing
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from imustride import pipeline
from imustride.cli.boundary import run
from imustride.exporting import sha256, verify
from imustride.many import Lost, on_this_machine
from tests.jobs import die_at, double, note_and_wait, odd_ones_fail

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-c", "from imustride.cli import main; main()"]
ENVIRONMENT = os.environ | {"PYTHONPATH": str(ROOT)}
SESSIONS = 4
PATIENCE_S = 120  # on a busy machine


@pytest.fixture(scope="module")
def sessions(tmp_path_factory):
    """Give sessions of a run each, all different."""
    folder = tmp_path_factory.mktemp("day")
    made = [folder / f"session-{k}" for k in range(SESSIONS)]
    for k, session in enumerate(made):
        assert run(["simulate", "--out", str(session), "--runs", "1", "--seed", str(40 + k), "--quiet"]) == 0
    return made


@pytest.fixture(scope="module")
def in_turn(sessions, tmp_path_factory):
    """Give their results, made one after the other."""
    out = tmp_path_factory.mktemp("in-turn")
    assert run(["analyse", *map(str, sessions), "--out", str(out), "--quiet"]) == 0
    return out


def contents(out):
    """Fingerprints of everything in a folder, hidden files too, by path."""
    return {path.relative_to(out).as_posix(): sha256(path) for path in out.rglob("*") if path.is_file()}


def finished(out):
    """Names of the sessions whose results are there."""
    return {path.parent.name for path in out.glob("[!.]*/provenance.json")}


def wait_until(what):
    """Wait for something to come true."""
    end = time.monotonic() + PATIENCE_S
    while not what():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.01)


def ended(group):
    """Whether no process of a group is left."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return True
    return False


def started(*arguments, **how):
    """Start the command line as a process, at the head of a group of its own."""
    command = [*COMMAND, *map(str, arguments)]
    return subprocess.Popen(
        command, env=ENVIRONMENT, stderr=subprocess.PIPE, text=True, start_new_session=True, **how
    )


@pytest.mark.slow
def test_several_processes_give_the_same_bytes_and_say_the_same(sessions, in_turn, command, tmp_path):
    status, said, _ = command("analyse", *sessions, "--out", tmp_path / "three", "--workers", 3)
    assert status == 0
    assert contents(tmp_path / "three") == contents(in_turn)
    _, alone, _ = command("analyse", *sessions, "--out", tmp_path / "one")
    assert said.replace(str(tmp_path / "three"), "") == alone.replace(str(tmp_path / "one"), "")


@pytest.mark.parametrize("workers", [1, 2])
def test_one_that_fails_stops_no_other(sessions, in_turn, command, tmp_path, workers):
    empty = tmp_path / "empty"
    empty.mkdir()
    named = [sessions[0], empty, sessions[1]]
    out = tmp_path / "out"
    status, said, told = command("analyse", *named, "--out", out, "--workers", workers, "--json")
    assert status == 3
    assert "session.toml" in told
    assert [("error" in one) for one in json.loads(said)["sessions"]] == [False, True, False]
    for session in (sessions[0], sessions[1]):
        assert contents(out / session.name) == contents(in_turn / session.name)


def test_what_nobody_expected_stops_no_other(sessions, command, tmp_path, monkeypatch):
    real = pipeline.analyse_session

    def analyse_session(folder, settings):
        if folder == sessions[0]:
            message = "a surprise"
            raise ZeroDivisionError(message)
        return real(folder, settings)

    monkeypatch.setattr(pipeline, "analyse_session", analyse_session)
    status, _, told = command("analyse", *sessions[:2], "--out", tmp_path)
    assert status == 3
    assert f"imustride: {sessions[0]}: unexpected ZeroDivisionError: a surprise" in told
    assert "Traceback" not in told
    assert finished(tmp_path) == {sessions[1].name}


@pytest.fixture
def before(sessions, in_turn, tmp_path):
    """Give a copy of a session and its results."""
    session = shutil.copytree(sessions[0], tmp_path / sessions[0].name)
    return session, shutil.copytree(in_turn / session.name, tmp_path / "out")


def made_anew(command, session, out, *options):
    """Whether the results of a session are made again; they are whole in any case."""
    stamp = (out / "pushes.csv").stat().st_ino if (out / "pushes.csv").exists() else None
    status, said, _ = command("analyse", session, "--out", out, *options)
    assert status == 0
    assert verify(out)
    kept = "kept: these results came from the same files, settings and program" in said
    assert kept == ((out / "pushes.csv").stat().st_ino == stamp)
    return not kept


def test_results_that_would_be_the_same_are_kept(before, command):
    assert not made_anew(command, *before)
    assert made_anew(command, *before, "--again")


@pytest.mark.parametrize(
    "options",
    [("--language", "fr"), ("--units", "imperial"), ("--orientation", "vqf"), ("--without", "paths")],
)
def test_another_page_or_setting_makes_them_anew(before, command, options):
    assert made_anew(command, *before, *options)
    assert not made_anew(command, *before, *options)


def test_another_input_makes_them_anew(before, command):
    session, out = before
    log = next(session.glob("run-1/left_skate.*"))
    log.write_bytes(log.read_bytes() + b"\n")
    assert made_anew(command, session, out)
    told = session / "session.toml"
    told.write_text(told.read_text(encoding="utf-8") + "\n# a remark\n", encoding="utf-8")
    assert made_anew(command, session, out)


@pytest.mark.parametrize("name", ["pushes.csv", "session.h5"])
def test_results_that_are_not_whole_are_made_anew(before, command, name):
    session, out = before
    (out / name).unlink()
    assert made_anew(command, session, out)
    (out / name).write_bytes(b"changed")
    assert made_anew(command, session, out)


def test_results_of_another_program_are_made_anew(before, command):
    session, out = before
    file = out / "provenance.json"
    told = json.loads(file.read_text(encoding="utf-8"))
    told["made_with"]["code"] = "0" * 64
    file.write_text(json.dumps(told), encoding="utf-8")
    assert made_anew(command, session, out)


def test_what_could_not_be_read_is_tried_again(before, command):
    session, out = before
    next(session.glob("run-1/left_skate.*")).unlink()
    for _ in range(2):
        status, said, _ = command("analyse", session, "--out", out)
        assert status == 3
        assert "kept" not in said


def test_kept_results_tell_the_same_as_data_and_in_the_list(sessions, command, tmp_path):
    first = command("analyse", *sessions[:2], "--out", tmp_path, "--json")
    listed = (tmp_path / "index.html").read_bytes()
    second = command("analyse", *sessions[:2], "--out", tmp_path, "--json")
    assert second[0] == first[0] == 0
    told = json.loads(second[1])
    assert [one.pop("kept") for one in told["sessions"]] == [True, True]
    for one, other in zip(told["sessions"], json.loads(first[1])["sessions"], strict=True):
        for table in ("runs", "symmetry"):
            for row, wanted in zip(one.pop(table), other.pop(table), strict=True):
                assert row.keys() == wanted.keys()
                for name, value in row.items():  # numbers as they are written in the tables
                    exact = isinstance(value, (str, bool)) or value is None
                    assert value == (wanted[name] if exact else pytest.approx(wanted[name], rel=1e-5)), name
        assert one == other
    assert (tmp_path / "index.html").read_bytes() == listed


@pytest.mark.slow
def test_an_interrupt_leaves_nothing_half_written_and_the_same_command_goes_on(sessions, in_turn, tmp_path):
    process = started("analyse", *sessions, "--out", tmp_path, "--workers", 2, stdout=subprocess.DEVNULL)
    wait_until(lambda: finished(tmp_path))
    os.killpg(process.pid, signal.SIGINT)
    told = process.communicate(timeout=PATIENCE_S)[1]
    assert process.returncode == 1
    assert told.endswith("imustride: stopped\n")
    assert "Traceback" not in told
    wait_until(lambda: ended(process.pid))
    there = finished(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == there
    for name in there:
        assert contents(tmp_path / name) == contents(in_turn / name)
    again = started("analyse", *sessions, "--out", tmp_path, stdout=subprocess.PIPE)
    said, _ = again.communicate(timeout=PATIENCE_S)
    assert again.returncode == 0
    assert said.count("kept: ") == len(there) > 0
    assert contents(tmp_path) == contents(in_turn)


@pytest.mark.slow
def test_when_the_command_is_killed_its_processes_end_and_the_same_command_mends(sessions, in_turn, tmp_path):
    process = started("analyse", *sessions, "--out", tmp_path, "--workers", 2, stdout=subprocess.DEVNULL)
    wait_until(lambda: finished(tmp_path))
    process.kill()
    process.communicate()
    wait_until(lambda: ended(process.pid))
    assert run(["analyse", *map(str, sessions), "--out", str(tmp_path), "--quiet"]) == 0
    assert contents(tmp_path) == contents(in_turn)


def collected(work, jobs, workers):
    """Results by place, each told once."""
    told = []
    on_this_machine(work, jobs, workers, lambda index, result: told.append((index, result)))
    assert sorted(index for index, _ in told) == list(range(len(jobs)))
    return dict(told)


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_each_job_is_done_once(workers):
    assert collected(double, [3, 1, 4, 1, 5], workers) == {0: 6, 1: 2, 2: 8, 3: 2, 4: 10}


def test_a_job_that_fails_unexpectedly_is_lost_alone():
    found = collected(odd_ones_fail, [2, 3, 4], 2)
    assert (found[0], found[2]) == (2, 4)
    assert "3 is odd" in found[1].reason


def test_a_job_that_kills_its_process_is_lost_alone():
    found = collected(die_at, [(number, 2, "") for number in range(5)], 2)
    assert [found[k] for k in (0, 1, 3, 4)] == [0, 1, 3, 4]
    assert isinstance(found[2], Lost)
    assert "killed" in found[2].reason


def test_a_process_killed_once_costs_nothing(tmp_path):
    jobs = [(number, 1, str(tmp_path / "mark")) for number in range(4)]
    assert collected(die_at, jobs, 2) == {0: 0, 1: 1, 2: 2, 3: 3}
    assert (tmp_path / "mark").exists()


def test_no_more_jobs_begin_than_there_are_processes_and_none_outlives_an_interrupt(tmp_path):
    def interrupt(*_):
        if len(list(tmp_path.iterdir())) >= 2:
            raise KeyboardInterrupt
        signal.setitimer(signal.ITIMER_REAL, 0.05)

    former = signal.signal(signal.SIGALRM, interrupt)
    signal.setitimer(signal.ITIMER_REAL, 0.05)
    try:
        with pytest.raises(KeyboardInterrupt):
            on_this_machine(note_and_wait, [str(tmp_path)] * 6, 2, lambda *_: None)
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, former)
    pids = [int(path.name) for path in tmp_path.iterdir()]
    assert len(pids) == 2
    assert not multiprocessing.active_children()
    for pid in pids:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def test_a_bar_is_drawn_where_it_is_asked_for(sessions, command, tmp_path):
    names = sessions[:2]
    assert "\r" not in command("analyse", *names, "--out", tmp_path / "a", "--dry-run")[2]
    told = command("analyse", *names, tmp_path, "--out", tmp_path / "b", "--dry-run", "--progress")[2]
    assert re.search(r"analysing +\[#+\] +3/3 +.*1 failed", told)
    options = ("--dry-run", "--progress", "--quiet")
    assert command("analyse", *names, "--out", tmp_path / "c", *options) == (0, "", "")


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no terminals of this kind")
def test_a_bar_is_drawn_on_a_terminal(sessions, tmp_path):
    ours, theirs = os.openpty()
    command = [*COMMAND, "analyse", *map(str, sessions[:2]), "--out", str(tmp_path), "--dry-run"]
    process = subprocess.Popen(
        command, env=ENVIRONMENT | {"TERM": "xterm"}, stdout=subprocess.DEVNULL, stderr=theirs
    )
    os.close(theirs)
    told = b""
    with contextlib.suppress(OSError):  # so a terminal ends
        while part := os.read(ours, 4096):
            told += part
    os.close(ours)
    assert process.wait() == 0
    assert b"2/2" in told


def test_processes_here_and_a_cluster_are_not_wanted_at_once(command, tmp_path):
    status, _, told = command(
        "analyse", "a", "--out", tmp_path / "o", "--workers", 2, "--cluster", "tcp://127.0.0.1:1"
    )
    assert status == 2
    assert "--workers" in told
