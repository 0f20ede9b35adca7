"""Every file format of the registry: the same samples in, the same log out, the same kinds of refusal.

A new format joins by an entry in `WRITERS`, which writes a table of seven columns.
"""

import struct

import ezc3d
import h5py
import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

from imustride.errors import FileFormatError
from imustride.loaders import format_of, load, load_file, regularise
from imustride.registry import methods
from imustride.session import Columns, Sensor, Units, read_session

NAMES = ("t", "ax", "ay", "az", "gx", "gy", "gz")
SENSOR = Sensor(
    place="left_skate",
    columns=Columns(time="t", acceleration=NAMES[1:4], angular_velocity=NAMES[4:]),
    units=Units(time="ms", acceleration="g", angular_velocity="deg/s"),
)


def write_text(path, table, names=NAMES):
    np.savetxt(path, table, "%.6f", ",", header=",".join(names), comments="")


def write_hdf5(path, table, names=NAMES):
    with h5py.File(path, "w") as file:
        for name, column in zip(names, table.T, strict=True):
            file[f"sensor/{name}"] = column
    return "/sensor"


def write_motion_bids(path, table, names=NAMES):
    np.savetxt(path, table, "%.6f", "\t")
    path.write_text(path.read_text().replace("nan", "n/a"))
    kinds = ["LATENCY", *["ACCEL"] * 3, *["GYRO"] * 3]
    rows = zip(names, "nxyzxyz", kinds, ["ms", *["g"] * 3, *["deg/s"] * 3], strict=True)
    lines = [f"{name}\t{axis}\t{kind}\tleft_skate\t{unit}\n" for name, axis, kind, unit in rows]
    channels = path.with_name(path.name.replace("_motion", "_channels"))
    channels.write_text("name\tcomponent\ttype\ttracked_point\tunits\n" + "".join(lines))


def write_parquet(path, table, names=NAMES):
    columns = [pa.array(column, mask=np.isnan(column)) for column in table.T]
    parquet.write_table(pa.table(columns, names=list(names)), path)


def write_c3d(path, table, names=NAMES):
    is_empty, table = (
        not len(table),
        table if len(table) else np.zeros((1, len(names))),
    )  # it writes no empty file
    file = ezc3d.c3d()
    file["parameters"]["POINT"]["RATE"]["value"] = [500.0]
    file["parameters"]["ANALOG"]["RATE"]["value"] = [500.0]
    file["parameters"]["ANALOG"]["LABELS"]["value"] = list(names)
    file["data"]["points"] = np.zeros((4, 1, len(table)))
    file["parameters"]["POINT"]["LABELS"]["value"] = ["none"]
    file["data"]["analogs"] = table.T[np.newaxis]
    file.write(str(path))
    if is_empty:
        content = bytearray(path.read_bytes())
        content[6:10] = struct.pack("<2H", 1, 0)  # first and last frame
        path.write_bytes(content)


WRITERS = {
    "delimited text": (".csv", write_text),
    "HDF5": (".h5", write_hdf5),
    "Motion-BIDS": ("_motion.tsv", write_motion_bids),
    "Parquet": (".parquet", write_parquet),
    "C3D": (".c3d", write_c3d),
}
PRECISION = {"C3D": 2.0**-24}  # it knows 32-bit floats only


@pytest.fixture(params=sorted(methods("loaders")))
def written(request, tmp_path):
    """Write a table in one format; returns path and group."""
    suffix, write = WRITERS[request.param]

    def _written(table, names=NAMES):
        path = tmp_path / f"left{suffix}"
        return path, write(path, table, names)

    return _written


@pytest.fixture
def table():
    count = np.arange(400.0)
    rng = np.random.default_rng(5)
    return np.column_stack((count * 2.0 + 1000, np.round(rng.normal(size=(400, 6)), 6)))


def test_every_format_has_a_writer_here():
    assert set(WRITERS) == set(methods("loaders"))


def test_a_format_answers_to_endings_nobody_else_answers_to():
    endings = [suffix for known in methods("loaders").values() for suffix in known.suffixes]
    assert len(endings) == len(set(endings))
    assert all(suffix[0] in "._" and suffix == suffix.lower() for suffix in endings)


def test_the_longest_ending_counts(tmp_path):
    assert format_of(tmp_path / "left.tsv").name == "delimited text"
    assert format_of(tmp_path / "left_motion.tsv").name == "Motion-BIDS"


def test_the_ending_counts_in_any_case(tmp_path):
    assert format_of(tmp_path / "LEFT.CSV").name == "delimited text"


def test_samples_come_back_in_si_units(written, table):
    path, group = written(table)
    log = load_file(path, group, SENSOR)
    rtol = PRECISION.get(format_of(path).name, 1e-15)
    np.testing.assert_allclose(log.time_s, table[:, 0] / 1000, rtol=rtol)
    np.testing.assert_allclose(log.acceleration_m_s2, table[:, 1:4] * 9.80665, rtol=rtol)
    np.testing.assert_allclose(log.angular_velocity_rad_s, np.radians(table[:, 4:]), rtol=rtol)
    assert log.sensor is SENSOR
    assert path.name in log.source
    for values in (log.time_s, log.acceleration_m_s2, log.angular_velocity_rad_s):
        assert values.dtype == np.float64
        assert values.T.flags.c_contiguous  # each axis in one piece
        assert not values.flags.writeable


def test_missing_values_stay_missing(written, table):
    table[7, 2] = np.nan
    path, group = written(table)
    log = load_file(path, group, SENSOR)
    assert np.argwhere(np.isnan(log.acceleration_m_s2)).tolist() == [[7, 1]]
    assert regularise(log).quality.bridged == 1


def test_a_wrong_column_lists_the_columns(written, table):
    path, group = written(table, ("t", "ax", "ay", "up", "gx", "gy", "gz"))
    with pytest.raises(FileFormatError, match=r"az.* not found; the file has .*up") as caught:
        load_file(path, group, SENSOR)
    assert "\n" not in str(caught.value)


def test_an_empty_table(written, table):
    path, group = written(table[:0])
    with pytest.raises(FileFormatError, match="wanted samples"):
        load_file(path, group, SENSOR)


def test_an_empty_file(written, table):
    path, group = written(table)
    path.write_bytes(b"")
    with pytest.raises(FileFormatError, match=f"{path.name}"):
        load_file(path, group, SENSOR)


def test_a_missing_file(written, table):
    path, group = written(table)
    path.unlink()
    with pytest.raises(
        FileFormatError, match=r"no such file; correct the path in session\.toml or copy the file"
    ):
        load_file(path, group, SENSOR)


def test_a_run_is_loaded_by_place(written, table, tmp_path):
    path, group = written(table)
    (tmp_path / "session.toml").write_text(
        f"""\
athlete = "A07"
date = 2026-10-03
surface = "ice"
protocol = "test"
columns = {{ time = "t", acceleration = ["ax", "ay", "az"], angular_velocity = ["gx", "gy", "gz"] }}
units = {{ time = "ms", acceleration = "g", angular_velocity = "deg/s" }}
[[sensors]]
place = "left_skate"
[[sensors]]
place = "right_skate"
[[runs]]
name = "run-1"
files = {{ left_skate = "{path.name}{f"#{group}" if group else ""}" }}
"""
    )
    session = read_session(tmp_path)
    recording = regularise(load(session, session.runs[0], "left_skate"))
    assert (recording.place, recording.rate_hz, recording.start_s) == (
        "left_skate",
        pytest.approx(500),
        pytest.approx(1),
    )
    with pytest.raises(
        FileFormatError, match="run 'run-1' has no file for right_skate; found left_skate; add it under files"
    ):
        load(session, session.runs[0], "right_skate")
