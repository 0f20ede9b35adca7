"""Files by mail: whatever they are, one clear line, 10 s and 1 GiB at most; and a whole result or the one before."""

import contextlib
import csv
import os
import re
import resource
import shutil
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest

from imustride.cli.boundary import run

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="limits of a child process need fork")

CPU_S = 10
# What the loaded libraries take already is well below 400 MiB.
MORE_BYTES = 600 << 20
RIGHT = Path("run-1") / "right_skate.csv"


def limited(arguments, folder):
    """Run the command in a child with limits of time and memory; return its exit status and what it said."""
    said = folder / "said.txt"
    child = os.fork()
    if child == 0:
        status = 70
        with contextlib.suppress(BaseException), said.open("wb", buffering=0) as file:
            os.dup2(file.fileno(), 1)
            os.dup2(file.fileno(), 2)
            sys.stdout = open(1, "w", encoding="utf-8", errors="replace", closefd=False)  # noqa: SIM115
            sys.stderr = open(2, "w", encoding="utf-8", errors="replace", closefd=False)  # noqa: SIM115
            pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
            most = pages * resource.getpagesize() + MORE_BYTES
            resource.setrlimit(resource.RLIMIT_AS, (most, most))
            resource.setrlimit(resource.RLIMIT_CPU, (CPU_S, CPU_S))
            status = run([os.fsdecode(argument) for argument in arguments])
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(status)
    _, ended = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(ended), said.read_text(encoding="utf-8", errors="replace")


@pytest.fixture
def small(tmp_path):
    """Make a session of one run by hand, of two seconds at rest."""
    folder = tmp_path / "session"
    (folder / "run-1").mkdir(parents=True)
    (folder / "session.toml").write_text(
        """\
athlete = "A07"
date = 2026-10-03
surface = "ice"
protocol = "test"
columns = { time = "t", acceleration = ["ax", "ay", "az"], angular_velocity = ["gx", "gy", "gz"] }
units = { time = "s", acceleration = "m/s^2", angular_velocity = "deg/s" }
[[sensors]]
place = "left_skate"
[[sensors]]
place = "right_skate"
[[runs]]
name = "run-1"
files = { left_skate = "run-1/left_skate.csv", right_skate = "run-1/right_skate.csv" }
""",
        encoding="utf-8",
    )
    rng = np.random.default_rng(3)
    for side in ("left", "right"):
        values = rng.normal(scale=0.02, size=(400, 7))
        values[:, 0] = np.arange(400) / 200
        values[:, 3] += 9.81
        np.savetxt(
            folder / "run-1" / f"{side}_skate.csv",
            values,
            "%.5f",
            ",",
            header="t,ax,ay,az,gx,gy,gz",
            comments="",
        )
    return folder


def edit(path, change):
    path.write_bytes(change(path.read_bytes()))


def lines(raw, row, new):
    """Replace one line."""
    parts = raw.split(b"\n")
    parts[row] = new
    return b"\n".join(parts)


ROW = b"0.5,1,2,9.8,0,0,0"
TEXT = {
    "a million columns in the header": (lambda raw: b",".join(b"c%d" % n for n in range(10**6)) + b"\n" + raw, "right_skate.csv"),
    "a million columns in a row": (lambda raw: lines(raw, 9, b",".join([b"1"] * 10**6)), "line 10"),
    "a header of 10^8 characters": (lambda raw: b"a" * 10**8 + b"\n" + raw, "right_skate.csv"),
    "a row of 10^8 characters": (lambda raw: lines(raw, 9, b"1" * 10**8), "line 10 is longer than"),
    "a quote that never ends": (lambda raw: lines(raw, 9, b'"0.5,1,2') + raw * 400, "line"),
    "zero bytes in a row": (lambda raw: lines(raw, 9, b"0.5,\0\0,2,9.8,0,0,0"), "line 10, column ax"),
    "zero bytes throughout": (lambda raw: bytes(len(raw)), "right_skate.csv"),
    "a hexadecimal number": (lambda raw: lines(raw, 9, b"0.5,0x10,2,9.8,0,0,0"), "line 10, column ax: found '0x10'"),
    "a formula": (lambda raw: lines(raw, 9, b"=1+1,1,2,9.8,0,0,0"), "line 10, column t: found '=1+1'"),
    "random bytes": (lambda _: np.random.default_rng(1).bytes(10**6), "right_skate.csv"),
    "another kind of file": (lambda _: b"\x89PNG\r\n\x1a\n" + bytes(1000), "right_skate.csv"),
    "only line ends": (lambda _: b"\n" * 10**7, "right_skate.csv"),
    "only delimiters": (lambda raw: raw[:20] + b"\n" + b"," * 10**7, "right_skate.csv"),
}  # fmt: skip


@pytest.mark.parametrize("kind", TEXT)
def test_hostile_text_is_refused_in_one_line(small, tmp_path, kind):
    change, said = TEXT[kind]
    edit(small / RIGHT, change)
    status, out = limited(["inspect", small], tmp_path)
    assert status == 3, out[:2000]
    (line,) = [line for line in out.splitlines() if line.startswith("  error ")]
    assert "run-1/right_skate.csv" in line
    assert said in line
    assert len(line) < 2500
    assert "run-1 left_skate" in out


@pytest.mark.parametrize(
    "word", ["1e400", "-1e400", "nan", "inf", "", "2" * 100_000], ids=lambda word: word[:6]
)
def test_a_value_beyond_all_numbers_is_missing_and_counted(small, tmp_path, word):
    edit(small / RIGHT, lambda raw: lines(raw, 9, b"0.04,1," + word.encode() + b",9.8,0,0,0"))
    status, out = limited(["inspect", small], tmp_path)
    assert status == 0, out
    assert "1 rows with NaN" in out.partition("run-1 right_skate")[2]


def hdf5(path, change):
    """Write a sound file, and change it."""
    values = np.loadtxt(path.with_name("right_skate.csv"), delimiter=",", skiprows=1)
    with h5py.File(path, "w") as file:
        for name, column in zip(("t", "ax", "ay", "az", "gx", "gy", "gz"), values.T, strict=True):
            file[f"right/{name}"] = column
        change(file)


def replaced(**options):
    def change(file):
        del file["right/ax"]
        file["right"].create_dataset("ax", **options)

    return change


def bomb(file):
    del file["right/ax"]
    data = file["right"].create_dataset("ax", (10**7,), float, chunks=(10**6,), compression="gzip")
    for start in range(0, 10**7, 10**6):
        data[start : start + 10**6] = 0


def linked(link):
    def change(file):
        del file["right/ax"]
        file["right/ax"] = link

    return change


def virtual(file):
    del file["right/ax"]
    layout = h5py.VirtualLayout((400,), float)
    layout[:] = h5py.VirtualSource("/etc/passwd", "ax", (400,))
    file["right"].create_virtual_dataset("ax", layout)


def loop(file):
    file["right/again"] = file["right"]
    file["right/self"] = h5py.SoftLink("/right/self")


HDF5 = {
    "a compression bomb": (bomb, "right", "declares 80000000 bytes"),
    "a shape that lies": (replaced(shape=(10**12,), dtype=float, chunks=(1000,)), "right", "declares"),
    "a chunk larger than memory": (replaced(shape=(400,), maxshape=(None,), dtype=float, chunks=(5 * 10**8,)), "right", "declares"),
    "an external file": (replaced(shape=(400,), dtype=float, external=[("/etc/passwd", 0, 3200)]), "right", "lie in other files"),
    "a virtual dataset": (virtual, "right", "lie in other files"),
    "a soft link": (linked(h5py.SoftLink("/right/ay")), "right", "is a link to"),
    "an external link": (linked(h5py.ExternalLink("/etc/passwd", "/")), "right", "is a link to"),
    "a soft link to itself": (loop, "right/self", "is a link to"),
    "a filter from outside": (replaced(data=np.zeros(400), scaleoffset=2), "right", "packed with filter"),
    "texts": (replaced(data=["1"] * 400), "right", "wanted numbers"),
    "numbers of variable length": (replaced(shape=(400,), dtype=h5py.vlen_dtype(float)), "right", "wanted numbers"),
    "references": (replaced(shape=(400,), dtype=h5py.ref_dtype), "right", "wanted numbers"),
    "compounds": (replaced(data=np.zeros(400, dtype=[("a", float)])), "right", "wanted numbers"),
    "complex numbers": (replaced(data=np.zeros(400, dtype=complex)), "right", "wanted numbers"),
}  # fmt: skip


@pytest.mark.parametrize("kind", HDF5)
def test_hostile_hdf5_is_refused_in_one_line(small, tmp_path, kind):
    change, group, said = HDF5[kind]
    hdf5(small / "run-1" / "log.h5", change)
    edit(small / "session.toml", lambda raw: raw.replace(b"right_skate.csv", f"log.h5#/{group}".encode()))
    status, out = limited(["inspect", small], tmp_path)
    assert status == 3, out
    (line,) = [line for line in out.splitlines() if line.startswith("  error ")]
    assert "run-1/log.h5" in line
    assert said in line
    assert "root:" not in out


def test_a_loop_of_hard_links_leads_to_the_data_itself(small, tmp_path):
    hdf5(small / "run-1" / "log.h5", loop)
    group = "right" + "/again" * 900
    edit(small / "session.toml", lambda raw: raw.replace(b"right_skate.csv", f"log.h5#/{group}".encode()))
    status, out = limited(["inspect", small], tmp_path)
    assert status == 0, out


TOML = {
    "an unknown key": (lambda raw: b'colour = "red"\n' + raw, "colour: unknown key"),
    "a wrong type": (lambda raw: raw.replace(b'"A07"', b"7"), "athlete: found 7"),
    "deep nesting": (lambda raw: b"a = " + b"[" * 50_000 + b"\n" + raw, "not valid TOML"),
    "a deep key": (lambda raw: b"a." * 200_000 + b"b = 1\n" + raw, "not valid TOML"),
    "an enormous file": (lambda raw: raw + b"# " * 10**7, "bytes, wanted less than"),
    "a number of 9000 digits": (lambda raw: b"rate_hz = " + b"9" * 9000 + b"\n" + raw, "not valid TOML"),
    "ten thousand unknown keys": (lambda raw: b"".join(b"k%d = 1\n" % n for n in range(10**4)) + raw, "unknown key"),
    "no text": (lambda raw: b"\xff\xfe" + raw, "not UTF-8"),
}  # fmt: skip


@pytest.mark.parametrize("kind", TOML)
@pytest.mark.parametrize("which", ["session", "kit", "calibration"])
def test_hostile_toml_is_refused_in_one_line(small, tmp_path, which, kind):
    change, said = TOML[kind]
    if which == "session":
        edit(small / "session.toml", change)
        arguments = ["inspect", small]
    elif which == "kit":
        kit = tmp_path / "kit.toml"
        kit.write_bytes(change(b'surface = "ice"\nprotocol = "A07"\n'))
        roster = tmp_path / "list.csv"
        roster.write_text(
            "date,time,athlete,run,left_skate_device\n2026-10-03,14:00,A07,run-1,S1\n", encoding="utf-8"
        )
        arguments = ["prepare", roster, "--kit", kit, "--out", tmp_path / "day"]
    else:
        file = tmp_path / "S1.toml"
        file.write_bytes(change(b'device = "A07"\ndate = 2026-09-20\nmethod = "x"\ngravity_m_s2 = 9.81\n'))
        named = f'place = "right_skate"\ncalibration = "{file.as_posix()}"'.encode()
        edit(small / "session.toml", lambda raw: raw.replace(b'place = "right_skate"', named))
        arguments = ["inspect", small]
    status, out = limited(arguments, tmp_path)
    assert status == 3, out[:2000]
    if which == "session":
        assert said in out
    told = [line for line in out.splitlines() if "imustride: " in line or line.startswith("  error ")]
    assert told
    assert "Traceback" not in out
    assert max(map(len, out.splitlines())) < 3000


PATHS = {
    "up": "../secret.csv",
    "up and down again": "run-1/../../secret.csv",
    "absolute": "/etc/passwd",
    "of Windows": "C:/secret.csv",
    "a share": "//host/share.csv",
    "backslashes": "..\\\\secret.csv",
    "a link out": "out.csv",
    "a link to a device": "zero.csv",
    "a circle of links": "circle.csv",
    "a device": "/dev/zero",
    "a device of Windows": "run-1/NUL.csv",
    "a pipe": "pipe.csv",
    "a folder": "run-1",
    "a zero byte": "run-1/\\u0000.csv",
    "a name that is too long": "x" * 5000 + ".csv",
}


@pytest.mark.parametrize("kind", PATHS)
@pytest.mark.parametrize("key", ["files", "gates"])
def test_no_path_leads_out_of_the_session_or_hangs(small, tmp_path, kind, key):
    (tmp_path / "secret.csv").write_text((small / RIGHT).read_text(encoding="utf-8"), encoding="utf-8")
    (small / "out.csv").symlink_to(tmp_path / "secret.csv")
    (small / "zero.csv").symlink_to("/dev/zero")
    (small / "circle.csv").symlink_to("circle.csv")
    os.mkfifo(small / "pipe.csv")
    written = PATHS[kind].encode()
    if key == "files":
        edit(small / "session.toml", lambda raw: raw.replace(b"run-1/right_skate.csv", written))
        arguments = ["inspect", small]
    else:
        edit(small / "session.toml", lambda raw: raw + b'gates = "' + written + b'"\n')
        arguments = ["analyse", small, "--out", tmp_path / "results", "--dry-run"]
    status, out = limited(arguments, tmp_path)
    assert status == 3, out[:2000]
    assert "Traceback" not in out
    assert "root:" not in out


def test_names_that_are_no_utf_8_are_read_and_written(small, tmp_path):
    folder = os.fsdecode(os.fsencode(tmp_path) + b"/s\xff")
    shutil.copytree(small, folder)
    status, out = limited(["inspect", folder], tmp_path)
    assert status == 0, out
    status, out = limited(["analyse", folder, "--out", os.fsencode(tmp_path) + b"/r\xfe"], tmp_path)
    assert status == 0, out
    assert (tmp_path / os.fsdecode(b"r\xfe") / "provenance.json").is_file()


def test_no_exported_cell_is_a_formula(session, command, tmp_path):
    for old, new in (
        ('protocol = "', 'protocol = "=cmd|x!A1'),
        ("[[sensors]]", '[conditions]\n"=a" = "@b"\n[[sensors]]'),
    ):
        edit(
            session / "session.toml", lambda raw, old=old, new=new: raw.replace(old.encode(), new.encode(), 1)
        )
    text = (session / "session.toml").read_text(encoding="utf-8")
    if text.count("[conditions]") > 1:
        text = text.replace('[conditions]\n"=a" = "@b"\n', "", 1)
        (session / "session.toml").write_text(text, encoding="utf-8")
    (session / "run-2" / "right_skate.csv").write_text("=1+1\n", encoding="utf-8")
    assert command("analyse", session, "--out", tmp_path / "results", "--quiet")[0] == 3
    number = re.compile(r"-?\d+(\.\d+)?(e[+-]?\d+)?")
    files = list((tmp_path / "results").glob("*.csv"))
    assert len(files) >= 3
    for path in files:
        for row in csv.reader(path.read_text(encoding="utf-8").splitlines()):
            assert [
                cell for cell in row if cell[:1] in "=+-@\t\r" and cell and not number.fullmatch(cell)
            ] == []


def test_a_cut_or_flipped_hdf5_file_is_refused_or_whole(small, tmp_path):
    path = small / "run-1" / "log.h5"
    hdf5(path, lambda _: None)
    whole = path.read_bytes()
    rng = np.random.default_rng(5)
    edit(small / "session.toml", lambda raw: raw.replace(b"right_skate.csv", b"log.h5#/right"))
    for trial in range(30):
        damaged = bytearray(whole)
        if trial % 3 == 0:
            del damaged[rng.integers(len(damaged)) :]
        else:
            at = rng.integers(0, 4000, size=3)
            damaged[at[0]] ^= 1 << int(rng.integers(8))
            damaged[at[1]] = 255
        path.write_bytes(damaged)
        status, out = limited(["inspect", small], tmp_path)
        assert status in {0, 3}, out
        assert "Traceback" not in out
