"""`imustride calibrate noise` on recordings with known noise."""

import json

import h5py
import numpy as np
import pytest

RATE_HZ, HOURS = 50.0, 1.0
COUNT = round(HOURS * 3600 * RATE_HZ)
DENSITY = np.array([2e-3, 2e-3, 3e-3, 1e-4, 1e-4, 2e-4])  # m/s^2 and rad/s, over sqrt(Hz)
WALK = 1.2e-5  # rad/s/sqrt(s)
LEVEL = [0.1, -0.2, 9.81, 0.01, -0.005, 0.002]
DECLARED = """\
[columns]
time = "t"
acceleration = ["ax", "ay", "az"]
angular_velocity = ["gx", "gy", "gz"]
[units]
time = "s"
acceleration = "m/s^2"
angular_velocity = "rad/s"
"""
CALIBRATION = """\
device = "S041"
date = 2026-09-20
method = "made up"
gravity_m_s2 = 9.81
[accelerometer]
bias_counts = [0, 0, 0]
matrix = [[0.005, 0, 0], [0, 0.005, 0], [0, 0, 0.005]]
[gyroscope]
bias_counts = [0, 0, 0]
matrix = [[0.001, 0, 0], [0, 0.001, 0], [0, 0, 0.001]]
"""


@pytest.fixture(scope="module")
def values():
    rng = np.random.default_rng(12)
    values = LEVEL + DENSITY * np.sqrt(RATE_HZ) * rng.normal(size=(COUNT, 6))
    values[:, 3:] += WALK / np.sqrt(RATE_HZ) * np.cumsum(rng.normal(size=(COUNT, 3)), axis=0)
    values[:250] += rng.normal(size=(250, 6))
    return values


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "columns.toml").write_text(DECLARED)
    (tmp_path / "calibration.toml").write_text(CALIBRATION)
    return tmp_path


def written(path, values):
    time_s = 10 + np.arange(len(values)) / RATE_HZ
    np.savetxt(
        path,
        np.column_stack([time_s, values]),
        delimiter=",",
        header="t,ax,ay,az,gx,gy,gz",
        comments="",
        fmt="%.6f",
    )
    return path


def measured(command, file, folder, *more):
    status, out, err = command(
        "calibrate", "noise", file, "--columns", folder / "columns.toml", "--device", "S041", *more
    )
    assert status == 0, err
    return json.loads(out)


def test_the_noise_put_in_comes_out(command, folder, values):
    file = written(folder / "night.csv", values)
    found = measured(command, file, folder, "--json", "--out", folder / "noise")
    for name, density in zip(
        [f"{triad}_{axis}" for triad in ("accelerometer", "gyroscope") for axis in "xyz"],
        DENSITY,
        strict=True,
    ):
        figures = found[name]["noise_density"]
        assert abs(figures["value"] - density) < 3 * figures["sd"]
        assert figures["sd"] < 0.02 * density
    for axis in "xyz":
        assert found[f"accelerometer_{axis}"]["bias_instability"]["value"] is None
        gyroscope = found[f"gyroscope_{axis}"]
        assert gyroscope["bias_instability"]["low"] < gyroscope["bias_instability"]["value"]
        assert 3 < gyroscope["bias_instability"]["reached_at_s"] < 300
        walk = gyroscope["rate_random_walk"]
        assert abs(walk["value"] - WALK) < 3 * walk["sd"]
        assert walk["sd"] < 0.2 * WALK
    assert 15 < found["used_from_s"] < 18
    assert any("moved" in note for note in found["notes"])
    kept = json.loads((folder / "noise" / "noise.json").read_text())
    assert kept["gyroscope_z"] == found["gyroscope_z"]
    assert len(kept["input_sha256"]) == 64
    picture = (folder / "noise" / "noise.svg").read_text()
    assert picture.count("N: -1/2") == 6
    assert picture.count("K: +1/2") == 3
    assert "<script" not in picture
    rows = (folder / "noise" / "noise.csv").read_text().splitlines()
    assert len(rows) == 1 + 6 * len(found["curve"]["tau_s"])


def test_hdf5_and_text_give_the_same(command, folder, values):
    short = values[:20_000].round(6)
    text = measured(command, written(folder / "short.csv", short), folder, "--json")
    with h5py.File(folder / "short.h5", "w") as file:
        group = file.create_group("s")
        for name, column in zip(
            ("t", "ax", "ay", "az", "gx", "gy", "gz"),
            [10 + np.arange(len(short)) / RATE_HZ, *short.T],
            strict=True,
        ):
            group[name] = column
    other = measured(command, f"{folder / 'short.h5'}#/s", folder, "--json")
    for axis in ("accelerometer_x", "gyroscope_z"):
        np.testing.assert_allclose(
            text["curve"][axis]["deviation"], other["curve"][axis]["deviation"], rtol=1e-6
        )


def test_counts_stay_counts_or_take_the_units_of_a_calibration(command, folder, values):
    counts = np.round(values[:20_000] / [0.005, 0.005, 0.005, 0.001, 0.001, 0.001])
    file = written(folder / "counts.csv", counts)
    more = ("--acceleration-unit", "counts", "--angular-velocity-unit", "counts", "--json")
    raw = measured(command, file, folder, *more)
    assert raw["accelerometer_x"]["unit"] == "counts"
    true = measured(command, file, folder, *more, "--calibration", folder / "calibration.toml")
    assert true["gyroscope_x"]["noise_density"]["unit"] == "rad/s/sqrt(Hz)"
    assert true["accelerometer_x"]["noise_density"]["value"] == pytest.approx(
        0.005 * raw["accelerometer_x"]["noise_density"]["value"], rel=1e-9
    )


def test_a_part_of_the_file_can_be_named(command, folder, values):
    file = written(folder / "part.csv", values[:30_000])
    found = measured(command, file, folder, "--json", "--start-s", "110", "--end-s", "400")
    assert found["used_from_s"] == pytest.approx(110, abs=0.1)
    assert found["used_to_s"] == pytest.approx(400, abs=0.1)


def test_what_is_printed_for_people(command, folder, values):
    file = written(folder / "part.csv", values[:20_000])
    status, out, err = command("calibrate", "noise", file, "--columns", folder / "columns.toml")
    assert status == 0
    assert "noise density [ug/sqrt(Hz)]" in out
    assert "the curve still falls at its end" in out
    assert "note: used" in err
    status, out, err = command("calibrate", "noise", file, "--columns", folder / "columns.toml", "--quiet")
    assert (status, out, err) == (0, "", "")


def test_a_dry_run_writes_nothing_and_results_are_never_written_over(command, folder, values):
    file = written(folder / "part.csv", values[:10_000])
    out = folder / "noise"
    assert measured(command, file, folder, "--json", "--out", out, "--dry-run")["out"] is None
    assert not out.exists()
    out.mkdir()
    (out / "mine.txt").write_text("kept")
    status, _, err = command("calibrate", "noise", file, "--columns", folder / "columns.toml", "--out", out)
    assert status == 2
    assert "found files there" in err
    assert [path.name for path in out.iterdir()] == ["mine.txt"]


def moved(values):
    return values + np.sin(np.arange(len(values)) / 30)[:, None] * np.linspace(1, 4, len(values))[:, None]


@pytest.mark.parametrize(
    ("spoil", "more", "said"),
    [
        (moved, (), "the sensor moved: still for"),
        (lambda values: values[2000:4000], (), "40.0 s long; wanted at least 60 s"),
        (lambda values: values[2000:], ("--acceleration-unit", "g"), "this looks like m/s^2"),
        (lambda values: values[2000:], ("--start-s", "9000"), "no samples from 9000"),
        (
            lambda values: values[2000:],
            ("--calibration", "calibration.toml"),
            "from counts for a file in m/s^2",
        ),
    ],
    ids=["moving", "short", "unit", "part", "calibration"],
)
def test_bad_input_is_one_clear_line(command, folder, values, monkeypatch, spoil, more, said):
    monkeypatch.chdir(folder)
    file = written(folder / "bad.csv", spoil(values[:10_000]))
    status, out, err = command(
        "calibrate", "noise", file, "--columns", "columns.toml", "--device", "S041", "-q", *more
    )
    assert status in {2, 3}
    assert out == ""
    assert said in err
    assert len(err.splitlines()) == 1


def test_a_gap_is_refused_and_can_be_cut_away(command, folder, values):
    file = written(folder / "gap.csv", values[2000:14_000])
    lines = file.read_text().splitlines()
    file.write_text("\n".join(lines[:8000] + lines[8100:]) + "\n")
    status, _, err = command("calibrate", "noise", file, "--columns", folder / "columns.toml", "-q")
    assert status == 3
    assert "100 samples are missing from 169.960" in err
    found = measured(command, file, folder, "--json", "--end-s", "169")
    assert found["samples_lost"] == 0


def test_units_are_never_guessed(command, folder, values):
    file = written(folder / "night.csv", values[2000:6000])
    status, _, err = command("calibrate", "noise", file)
    assert status == 2
    assert "--acceleration-unit" in err
