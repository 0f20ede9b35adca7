"""Whatever happens while results are written: the earlier ones or the new ones are there, whole."""

import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest

from imustride.errors import ImustrideError
from imustride.exporting import check_target, verify, write_results
from tests.benchmark.kills import PROTOCOLS, held, kill_often, made, nothing_seen

resource = pytest.importorskip("resource", reason="limits of a child process are those of Unix")
KILLS = 20


def test_killed_and_stopped_writers_leave_one_whole_result(tmp_path):
    seen = nothing_seen()
    kill_often(KILLS, tmp_path, list(made()), 3, seen)
    assert seen["kills"] == KILLS
    assert seen["while writing"] > 0
    assert (seen["neither"], seen["neither after the next start"], seen["left beside"]) == ([], [], 0)


@pytest.fixture
def out(tmp_path):
    """Write the first result."""
    write_results(next(made()), tmp_path / "results", {"summary.html": "x" * 300_000})
    return tmp_path / "results"


def written_in_a_child(out, prepare):
    """Write the second result in a child that prepares itself first; return its exit status: 3 for one clear error."""
    _, second = made()
    child = os.fork()
    if child == 0:
        status = 70
        try:
            prepare()
            write_results(second, out, {"summary.html": "x" * 300_000})
            status = 0
        except (OSError, ImustrideError) as error:
            status = 3 if str(error) else 4
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def test_a_write_that_fails_anywhere_leaves_the_earlier_result(out):
    sizes = sorted({path.stat().st_size for path in out.iterdir()})
    limits = {0, 1, 100, *(size - 1 for size in sizes), *(size // 2 for size in sizes)}
    for limit in sorted(limits):
        status = written_in_a_child(
            out, lambda most=limit: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
        )
        assert status == 3, limit
        assert held(out) == PROTOCOLS[0]
        assert [path.name for path in out.parent.iterdir()] == ["results"]
    assert written_in_a_child(out, lambda: None) == 0
    assert held(out) == PROTOCOLS[1]


@pytest.fixture
def disk(tmp_path):
    """Mount a small disk, which takes root."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = shutil.which("mount")
    if (
        mount is None
        or os.geteuid() != 0
        or subprocess.run(
            [mount, "-t", "tmpfs", "-o", "size=1500k", "tmpfs", folder], check=False, capture_output=True
        ).returncode
    ):
        pytest.skip("no small disk can be mounted here")
    yield folder
    subprocess.run([shutil.which("umount"), "--lazy", folder], check=True)


def test_a_full_disk_leaves_the_earlier_result(disk):
    out = disk / "results"
    write_results(next(made()), out, {"summary.html": "x" * 300_000})
    free = os.statvfs(disk)
    room = free.f_bavail * free.f_frsize
    for left in (0, 4096, 100_000, 300_000, 400_000):
        (disk / "filler").write_bytes(bytes(max(room - left, 0)))
        assert written_in_a_child(out, lambda: None) == 3, left
        assert held(out) == PROTOCOLS[0]
        assert sorted(path.name for path in disk.iterdir()) == ["filler", "results"]
        (disk / "filler").unlink()
    assert written_in_a_child(out, lambda: None) == 0
    assert held(out) == PROTOCOLS[1]


def test_a_read_only_place_is_told_in_one_line(session, command, tmp_path, disk):
    subprocess.run([shutil.which("mount"), "-o", "remount,ro", disk], check=True)
    status, _, err = command("analyse", session, "--out", disk / "results", "--quiet")
    assert status == 1
    assert "Read-only file system" in err
    assert len(err.splitlines()) == 1
    assert list(tmp_path.glob(".*")) == []


def test_ctrl_c_ends_the_command_in_one_line(session, tmp_path):
    out = tmp_path / "results"
    _, earlier = made()
    write_results(earlier, out, {})
    said = tmp_path / "said.txt"
    with said.open("wb") as file:
        process = subprocess.Popen(
            [shutil.which("imustride"), "analyse", session, "--out", out], stderr=file, stdout=file
        )
        while b"analysing" not in said.read_bytes() and process.poll() is None:
            time.sleep(0.01)
        process.send_signal(signal.SIGINT)
        assert process.wait(60) == 1
    text = said.read_text(encoding="utf-8")
    assert "imustride: stopped" in text
    assert "Traceback" not in text
    check_target(out)
    assert verify(out)["session"]["protocol"] == PROTOCOLS[1]
    assert not [path for path in Path(tmp_path).iterdir() if path.name.startswith(".results")]
