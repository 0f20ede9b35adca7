"""HDF5: plain data of the file itself, and nothing else."""

import h5py
import numpy as np
import pytest

from imustride.errors import FileFormatError
from imustride.loaders import load_file
from imustride.session import Columns

TRIADS = Columns(time="time", acceleration="acc", angular_velocity="gyr")


@pytest.fixture
def triads(declare):
    return declare(columns=TRIADS)


@pytest.fixture
def path(tmp_path, rows):
    """Group /left with (n, 3) datasets, group /right with seven columns."""
    path = tmp_path / "log.h5"
    with h5py.File(path, "w") as file:
        left = file.create_group("run/left")
        for name, values in (("time", rows[:, 0]), ("acc", rows[:, 1:4]), ("gyr", rows[:, 4:])):
            left[name] = values
        right = file.create_group("right")
        for name, values in zip(("t", "ax", "ay", "az", "gx", "gy", "gz"), rows.T, strict=True):
            right[name] = values
    return path


def assert_holds(log, rows) -> None:
    np.testing.assert_array_equal(log.time_s, rows[:, 0])
    np.testing.assert_array_equal(log.acceleration_m_s2, rows[:, 1:4])
    np.testing.assert_array_equal(log.angular_velocity_rad_s, rows[:, 4:])


def refused(path, sensor, group="/run/left") -> str:
    with pytest.raises(FileFormatError) as caught:
        load_file(path, group, sensor)
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize("group", ["/run/left", "/run/left/"])
def test_datasets_of_three_columns(path, triads, rows, group):
    log = load_file(path, group, triads)
    assert_holds(log, rows)
    assert log.source.endswith(f"log.h5#{group}")


def test_a_dataset_a_column(path, sensor, rows):
    assert_holds(load_file(path, "/right", sensor), rows)


def test_datasets_at_the_root(tmp_path, triads, rows):
    with h5py.File(tmp_path / "a.hdf5", "w") as file:
        file["time"], file["acc"], file["gyr"] = rows[:, 0], rows[:, 1:4], rows[:, 4:]
    assert_holds(load_file(tmp_path / "a.hdf5", None, triads), rows)


def test_integers_with_every_filter_that_is_allowed(tmp_path, triads, rows):
    counts = np.rint(rows * 100).astype(np.int16)
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file.create_dataset("time", data=rows[:, 0], compression="lzf", fletcher32=True)
        file.create_dataset("acc", data=counts[:, 1:4], compression="gzip", shuffle=True, chunks=(8, 3))
        file.create_dataset("gyr", data=rows[:, 4:].astype(np.float32))
    log = load_file(tmp_path / "a.h5", None, triads)
    np.testing.assert_array_equal(log.acceleration_m_s2, counts[:, 1:4])
    assert log.acceleration_m_s2.dtype == log.angular_velocity_rad_s.dtype == np.float64


def test_no_attribute_is_taken_for_a_unit(path, triads, rows):
    with h5py.File(path, "a") as file:
        file["run/left/acc"].attrs["units"] = "g"
    assert_holds(load_file(path, "/run/left", triads), rows)


def test_a_missing_group_lists_what_is_there(path, triads):
    assert "'lift' not found; the file has left there" in refused(path, triads, "/run/lift")


def test_a_missing_dataset_lists_what_is_there(path, declare):
    sensor = declare(columns=Columns(time="time", acceleration="accel", angular_velocity="gyr"))
    assert "'accel' not found; the file has acc, gyr, time there" in refused(path, sensor)


def test_a_path_to_a_dataset(path, triads):
    assert "a dataset; wanted the group that holds it" in refused(path, triads, "/run/left/acc")
    assert "'x' not found; the file has a dataset there" in refused(path, triads, "/run/left/acc/x")


def test_a_group_for_a_dataset(path, triads):
    with h5py.File(path, "a") as file:
        del file["run/left/acc"]
        file.create_group("run/left/acc")
    assert "dataset 'acc': a group; wanted a dataset" in refused(path, triads)


def put(path, name, values, **options):
    with h5py.File(path, "a") as file:
        del file[f"run/left/{name}"]
        file.create_dataset(f"run/left/{name}", data=values, **options)


def test_lengths_that_differ(path, triads, sensor, rows):
    put(path, "gyr", rows[:-1, 4:])
    assert "datasets of different lengths [19, 20]" in refused(path, triads)
    with h5py.File(path, "a") as file:
        del file["right/ay"]
        file["right/ay"] = rows[:-2, 2]
    assert "ax, ay, az have [20, 18, 20] samples" in refused(path, sensor, "/right")


@pytest.mark.parametrize(
    "values",
    [np.zeros((20, 4)), np.zeros((20, 3, 1)), np.zeros(20), np.float64(3)],
)
def test_another_shape(path, triads, values):
    put(path, "acc", values)
    assert "wanted (n, 3)" in refused(path, triads)


@pytest.mark.parametrize(
    "values",
    [np.full((20, 3), b"1.0"), np.ones((20, 3), dtype=complex), np.ones((20, 3), dtype=bool),
     np.ones((20, 3), dtype=[("x", float)]), np.ones((20, 3), dtype=np.longdouble)],
)  # fmt: skip
def test_what_is_no_number(path, triads, values):
    put(path, "acc", values)
    assert "wanted numbers" in refused(path, triads)


def test_no_samples(path, triads):
    for name, shape in (("time", (0,)), ("acc", (0, 3)), ("gyr", (0, 3))):
        put(path, name, np.zeros(shape))
    assert "empty datasets; wanted samples" in refused(path, triads)


def test_links_are_not_followed(path, triads, tmp_path):
    with h5py.File(tmp_path / "other.h5", "w") as other:
        other["acc"] = np.zeros((20, 3))
    for link in (h5py.SoftLink("/right/ax"), h5py.ExternalLink(str(tmp_path / "other.h5"), "/acc")):
        with h5py.File(path, "a") as file:
            del file["run/left/acc"]
            file["run/left/acc"] = link
        assert "'acc' is a link to" in refused(path, triads)
    with h5py.File(path, "a") as file:
        file["elsewhere"] = h5py.SoftLink("/run/left")
    assert "'elsewhere' is a link to '/run/left'" in refused(path, triads, "/elsewhere")


def test_external_storage_is_not_read(path, triads, tmp_path):
    secret = tmp_path / "secret.bin"
    secret.write_bytes(bytes(20 * 3 * 8))
    with h5py.File(path, "a") as file:
        del file["run/left/acc"]
        file.create_dataset("run/left/acc", (20, 3), float, external=[(str(secret), 0, h5py.h5f.UNLIMITED)])
    assert "its values lie in other files" in refused(path, triads)


def test_virtual_datasets_are_not_read(path, triads, tmp_path):
    layout = h5py.VirtualLayout((20, 3), float)
    layout[:] = h5py.VirtualSource(str(tmp_path / "other.h5"), "acc", (20, 3))
    with h5py.File(path, "a") as file:
        del file["run/left/acc"]
        file.create_virtual_dataset("run/left/acc", layout)
    assert "its values lie in other files" in refused(path, triads)


@pytest.mark.parametrize("rows_declared", [3_000_000, 10**12])
def test_a_small_file_that_declares_much_is_not_allocated(path, triads, rows_declared):
    with h5py.File(path, "a") as file:
        del file["run/left/acc"]
        file.create_dataset("run/left/acc", (rows_declared, 3), float, chunks=(1000, 3), compression="gzip")
    assert path.stat().st_size < 100_000
    assert f"declares {rows_declared * 24} bytes" in refused(path, triads)


def test_a_filter_from_outside_is_not_run(path, triads):
    put(path, "acc", np.zeros((20, 3)), scaleoffset=2)
    assert "packed with filter [6]; wanted gzip, shuffle, fletcher32, lzf" in refused(path, triads)


def test_text_under_an_hdf5_name(tmp_path, triads):
    (tmp_path / "log.h5").write_text("t,ax\n1,2\n")
    assert "not an HDF5 file" in refused(tmp_path / "log.h5", triads)


def test_a_cut_file(path, triads):
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    assert "HDF5" in refused(path, triads)


def test_a_flipped_byte_is_found_by_the_checksum(path, triads, rows):
    put(path, "acc", rows[:, 1:4], fletcher32=True, chunks=(20, 3))
    content = bytearray(path.read_bytes())
    at = content.rindex(rows[:, 1:4].tobytes()[:48])
    content[at + 5] ^= 0xFF
    path.write_bytes(bytes(content))
    assert "damaged HDF5 data" in refused(path, triads)
