"""A span of a file: the same rows as of the whole, by every way of reading."""

from dataclasses import replace

import h5py
import numpy as np
import pandas as pd
import pytest

from imustride.errors import FileFormatError
from imustride.loaders import format_of, load_file, spans
from imustride.session import Columns, Sensor, Units

RATE_HZ = 100.0
COUNT = 200_000  # three blocks of rows
NAMES = ["ax", "ay", "az", "gx", "gy", "gz"]


def sensor(*, time="t", rate_hz=None, triads=("acc", "gyr")):
    return Sensor(
        place="left_skate",
        columns=Columns(time=time, acceleration=triads[0], angular_velocity=triads[1]),
        units=Units(time="s" if time else None, acceleration="g", angular_velocity="deg/s"),
        rate_hz=rate_hz,
    )


AXES = (("ax", "ay", "az"), ("gx", "gy", "gz"))


@pytest.fixture(scope="module")
def table():
    rng = np.random.default_rng(5)
    values = rng.integers(-3000, 3000, (COUNT, 6)) / 100
    return np.column_stack((500.0 + np.arange(COUNT) / RATE_HZ, values))


@pytest.fixture(scope="module")
def files(table, tmp_path_factory):
    folder = tmp_path_factory.mktemp("long")
    with h5py.File(folder / "log.h5", "w") as file:
        stamps = table[:, 0].copy()
        stamps[[0, 70_000, COUNT - 1]] = np.nan  # a lost stamp hides no rows
        file["t"], file["acc"], file["gyr"] = stamps, table[:, 1:4], table[:, 4:]
    pd.DataFrame(table, columns=["t", *NAMES]).to_csv(folder / "log.csv", index=False)
    return {"h5": (folder / "log.h5", sensor()), "csv": (folder / "log.csv", sensor(triads=AXES))}


@pytest.mark.parametrize("kind", ["h5", "csv"])
@pytest.mark.parametrize(("from_s", "to_s"), [(500.5, 503.0), (1150.0, 1170.25), (2490.0, 9000.0)])
def test_the_rows_of_a_span_are_those_of_the_whole(files, kind, from_s, to_s):
    path, declared = files[kind]
    whole, piece = load_file(path, None, declared), spans.load_span(path, None, declared, from_s, to_s)
    rows = np.flatnonzero((whole.time_s >= from_s) & (whole.time_s <= to_s))
    rows = slice(rows[0], rows[-1] + 1)
    for name in ("time_s", "acceleration_m_s2", "angular_velocity_rad_s"):
        np.testing.assert_array_equal(getattr(piece, name), getattr(whole, name)[rows])


@pytest.mark.parametrize("kind", ["h5", "csv"])
@pytest.mark.parametrize("span", [(0.0, 400.0), (5000.0, 6000.0)])
def test_a_span_outside_holds_no_rows(files, kind, span):
    path, declared = files[kind]
    assert len(spans.load_span(path, None, declared, *span).time_s) == 0


def test_rows_without_time_are_counted_from_the_begin_of_the_file(files):
    declared = sensor(time=None, rate_hz=RATE_HZ)
    piece = spans.load_span(files["h5"][0], None, declared, 1500.0, 1501.0)
    assert piece.time_s[[0, -1]].tolist() == [1500.0, 1501.0]
    assert len(piece.time_s) == 101


def test_of_hdf5_only_some_rows_around_the_span_are_read(files, monkeypatch):
    path, declared = files["h5"]
    known, read = format_of(path), []

    def counted(*arguments):
        found = known.read_rows(*arguments)
        read.append(len(found.acceleration))
        return found

    monkeypatch.setattr("imustride.loaders.format_of", lambda _: replace(known, read_rows=counted))
    spans.load_span(path, None, declared, 2400.0, 2401.0)
    assert 100 < sum(read) < COUNT / 2


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(FileFormatError, match=r"gone\.h5: no such file"):
        spans.load_span(tmp_path / "gone.h5", None, sensor(), 0.0, 1.0)
