"""Many sessions on the workers of a real scheduler, each a process of its own."""

import subprocess
import sys
from pathlib import Path

import pytest

from imustride.cli import all_sessions
from imustride.cli.boundary import run
from imustride.cli.one_session import Job, Outcome
from imustride.exporting import sha256
from imustride.many import Lost
from imustride.many import cluster as cluster_of
from imustride.report.files import Page
from imustride.report.index import Line
from imustride.settings import Settings
from tests.jobs import die_at, double, odd_ones_fail

ROOT = Path(__file__).parents[2]
SESSIONS = 5


@pytest.fixture
def cluster():
    """Run a cluster of two workers; give its process, whose first line was its address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.local_cluster"],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    process.address = process.stdout.readline().strip()
    yield process
    process.stdin.close()
    process.wait(timeout=60)
    process.stdout.close()


def contents(out):
    """Fingerprints of everything in a folder, hidden files too, by path."""
    return {path.relative_to(out).as_posix(): sha256(path) for path in out.rglob("*") if path.is_file()}


@pytest.mark.slow
def test_a_worker_killed_at_its_work_changes_nothing(cluster, tmp_path):
    sessions = [tmp_path / f"session-{k}" for k in range(SESSIONS)]
    for k, session in enumerate(sessions):
        assert run(["simulate", "--out", str(session), "--runs", "1", "--seed", str(60 + k), "--quiet"]) == 0
    names = list(map(str, sessions))
    assert run(["analyse", *names, "--out", str(tmp_path / "in-turn"), "--quiet"]) == 0
    command = [sys.executable, "-c", "from imustride.cli import main; main()", "analyse", *names]
    out = tmp_path / "cluster"
    analysis = subprocess.Popen(
        [*command, "--out", out, "--cluster", cluster.address, "--quiet"], cwd=ROOT, stderr=subprocess.PIPE
    )
    cluster.stdin.write("kill\n")
    cluster.stdin.flush()
    had = int(cluster.stdout.readline())
    assert analysis.poll() is None, "the analysis had ended before the worker was killed"
    assert had >= 1
    _, told = analysis.communicate(timeout=300)
    assert (analysis.returncode, told) == (0, b"")
    assert contents(out) == contents(tmp_path / "in-turn")
    assert not list(out.glob(".*"))


def collected(work, jobs, address, program=str):
    told = []
    cluster_of.on_cluster(work, jobs, address, lambda index, result: told.append((index, result)), program)
    assert sorted(index for index, _ in told) == list(range(len(jobs)))
    return dict(told)


def test_jobs_that_fail_or_kill_their_workers_are_lost_alone(cluster):
    assert collected(double, [3, 1, 4], cluster.address) == {0: 6, 1: 2, 2: 8}
    found = collected(odd_ones_fail, [2, 3], cluster.address)
    assert found[0] == 2
    assert "3 is odd" in found[1].reason
    found = collected(die_at, [(0, 1, ""), (1, 1, "")], cluster.address)
    assert found[0] == 0
    assert "killed" in found[1].reason


def test_a_worker_with_another_program_does_no_work():
    found = cluster_of._on_worker(double, 2, lambda: {"numpy": "1"}, {"numpy": "2"})
    assert isinstance(found, Lost)
    assert "another version" in found.reason
    assert cluster_of._on_worker(double, 2, dict, {}) == 4


def test_no_scheduler_is_one_line(command, monkeypatch, tmp_path):
    monkeypatch.setattr(cluster_of, "CONNECT_S", 1)
    for address in ("tcp://127.0.0.1:9", "nonsense://x"):
        status, _, told = command("analyse", "a", "--out", tmp_path / "o", "--cluster", address, "--quiet")
        assert status == 1
        assert told.startswith(f"imustride: --cluster {address}: found no scheduler there")
        assert told.count("\n") == 1


def test_the_missing_extra_is_named(command, monkeypatch, tmp_path):
    monkeypatch.setitem(sys.modules, "distributed", None)
    status, _, told = command("analyse", "a", "--out", tmp_path / "o", "--cluster", "tcp://x:1", "--quiet")
    assert status == 2
    assert "imustride[cluster]" in told


def test_results_on_a_disk_of_the_worker_alone_are_no_results(tmp_path):
    job = Job(tmp_path / "s", tmp_path / "elsewhere", Settings(), Page())
    said = Outcome(0, Line("elsewhere"))
    found = all_sessions._seen_from_here(job, said)
    assert found.status == 1
    assert "share" in found.problems[0]
    job.target.mkdir()
    (job.target / "provenance.json").touch()
    assert all_sessions._seen_from_here(job, said) is said
