"""Whatever is damaged in a session or a lone file: the command ends as documented, in whole lines, with no fault of its own."""

import io

import h5py
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from imustride.cli.boundary import run

# Numbers of 300 digits overflow on their way, which numpy remarks on; what comes of them is missing or refused.
pytestmark = pytest.mark.filterwarnings("ignore::RuntimeWarning")
HEADER = "t,ax,ay,az,gx,gy,gz"
SESSION = """\
athlete = "A07"
date = 2026-10-03
surface = "ice"
protocol = "test"
columns = { time = "t", acceleration = ["ax", "ay", "az"], angular_velocity = ["gx", "gy", "gz"] }
units = { time = "s", acceleration = "m/s^2", angular_velocity = "deg/s" }
[[sensors]]
place = "left_skate"
calibration = "S1.toml"
[[sensors]]
place = "right_skate"
[[runs]]
name = "run-1"
files = { left_skate = "left.csv", right_skate = "right.h5#/right" }
gates = "gates.csv"
"""
CALIBRATION = """\
device = "unknown"
date = 2026-09-20
method = "six positions"
gravity_m_s2 = 9.8191
[accelerometer]
bias_m_s2 = [0.5, -0.25, 0.125]
matrix = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
"""


def sound():
    """Contents of every file of a small session at rest."""
    values = np.random.default_rng(3).normal(scale=0.02, size=(300, 7))
    values[:, 0] = np.arange(300) / 200
    values[:, 3] += 9.81
    text = io.StringIO()
    np.savetxt(text, values, "%.4f", ",", header=HEADER, comments="")
    binary = io.BytesIO()
    with h5py.File(binary, "w") as file:
        for name, column in zip(HEADER.split(","), values.T, strict=True):
            file[f"right/{name}"] = column
    return {
        "session.toml": SESSION.encode(),
        "left.csv": text.getvalue().encode(),
        "right.h5": binary.getvalue(),
        "gates.csv": b"position_m,time_s\n0,0\n30.48,4.8\n",
        "S1.toml": CALIBRATION.encode(),
    }


SOUND = sound()
DAMAGE = st.tuples(
    st.sampled_from(sorted(SOUND)), st.floats(0, 1), st.integers(0, 40), st.binary(max_size=12)
)


def write(folder, damages):
    """Write the session with bytes of some files replaced."""
    contents = dict(SOUND)
    for name, where, cut, new in damages:
        raw = contents[name]
        at = int(where * len(raw))
        contents[name] = raw[:at] + new + raw[at + cut :]
    for name, raw in contents.items():
        (folder / name).write_bytes(raw)


def said_well(capsys, status):
    said = capsys.readouterr()
    assert status in {0, 2, 3}
    assert "Traceback" not in said.err
    assert "fault of the program" not in said.err
    assert all(line.isprintable() for line in (said.out + said.err).split("\n"))
    if status:
        assert said.out + said.err


@pytest.mark.parametrize("command", ["inspect", "analyse"])
@settings(deadline=None, max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(damages=st.lists(DAMAGE, min_size=1, max_size=3))
def test_a_damaged_session(command, damages, tmp_path_factory, capsys):
    folder = tmp_path_factory.mktemp("session")
    write(folder, damages)
    more = ["--out", str(folder / "results"), "--dry-run"] if command == "analyse" else []
    said_well(capsys, run([command, str(folder), *more]))
    assert not (folder / "results").exists()


@settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(damage=DAMAGE, ending=st.sampled_from([".csv", ".tsv", ".txt", ".h5"]))
def test_a_damaged_lone_file(damage, ending, tmp_path_factory, capsys):
    folder = tmp_path_factory.mktemp("lone")
    write(folder, [damage])
    lone = folder / f"lone{ending}"
    (folder / ("right.h5" if ending == ".h5" else "left.csv")).rename(lone)
    said_well(capsys, run(["inspect", f"{lone}#/right" if ending == ".h5" else str(lone)]))


@settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    delimiter=st.sampled_from([",", ";", "\t"]),
    comma=st.booleans(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    end=st.sampled_from(["\n", "\r\n"]),
    above=st.integers(0, 4),
    units=st.booleans(),
    quoted=st.booleans(),
)
def test_a_log_however_written_is_inspected_alike(
    delimiter, comma, encoding, end, above, units, quoted, tmp_path_factory, capsys
):
    comma &= delimiter != "," or quoted
    folder = tmp_path_factory.mktemp("written")
    (folder / "lone.csv").write_bytes(SOUND["left.csv"])
    assert run(["inspect", str(folder / "lone.csv")]) == 0
    wanted = [line for line in capsys.readouterr().out.splitlines() if line.startswith("  sampling")]
    header, *rows = SOUND["left.csv"].decode().splitlines()
    cells = [[cell.replace(".", ",") if comma else cell for cell in row.split(",")] for row in rows]
    if quoted:
        cells = [[f'"{cell}"' for cell in row] for row in cells]
    lines = [f"made by hand {number}" for number in range(above)] + [header.replace(",", delimiter)]
    lines += [delimiter.join(["s", *["m/s^2"] * 3, *["deg/s"] * 3])] if units else []
    lines += [delimiter.join(row) for row in cells]
    (folder / "lone.csv").write_bytes((end.join(lines) + end).encode(encoding))
    assert run(["inspect", str(folder / "lone.csv")]) == 0
    out = capsys.readouterr().out
    assert [line for line in out.splitlines() if line.startswith("  sampling")] == wanted
    assert ("units declared nowhere" in out) == units
