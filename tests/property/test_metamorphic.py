"""A session written down differently, or another one with a known relation to it: what must stay, and what must change how.

Whole sessions through files, the demo's runs; tolerances are stated beside each relation. Times of single sensors, mounting
and clocks are in `test_analysis.py`, from logs in memory.
"""

import json
import shutil
import tomllib
from pathlib import Path

import h5py
import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

import imustride
from imustride.simulation import simulate_run

DEMO = Path(__file__).parents[2] / "recordings" / "demo"
SKATES = ("left_skate", "right_skate")
FORCE, TURNING = ["ax", "ay", "az"], ["gx", "gy", "gz"]
STANDARD_GRAVITY_M_S2 = 9.80665  # 3rd CGPM 1901
TIMES = ["blade_on_s", "blade_off_s"]
DURATIONS = ["contact_time_s", "swing_time_s", "stride_time_s", "step_time_s", "double_support_s"]
RATE, EDGE = "push_off_angular_velocity_deg_s", "edge_angle_deg"
KEYS = ["run", "side", "push", "phase", "flags"]
OTHER = {"left": "right", "right": "left"}
BLOCK = 25  # samples of the demo in 0.1 s


class Written:
    """A session as data: what its file declares, and the table of every log by run and place."""

    def __init__(self, *runs):
        self.declared = tomllib.loads((DEMO / "session.toml").read_text(encoding="utf-8"))
        self.declared["runs"] = [run for run in self.declared["runs"] if run["name"] in runs]
        self.logs = {
            (run, place): pd.read_csv(DEMO / run / f"{place}.csv") for run in runs for place in SKATES
        }

    @property
    def sensors(self):
        return {sensor["place"]: sensor for sensor in self.declared["sensors"]}

    def analysed(self, folder, write=None):
        """Write it as a session folder and analyse that."""
        write = write or (lambda table, path: table.to_csv(path, index=False))
        for (run, place), table in self.logs.items():
            path = folder / run / f"{place}.csv"
            path.parent.mkdir(parents=True, exist_ok=True)
            write(table, path)
            shutil.copy(DEMO / run / "gates.csv", path.parent)
        lines = [f"{key} = {toml(value)}" for key, value in self.declared.items()]
        (folder / "session.toml").write_text("\n".join(lines), encoding="utf-8")
        result = imustride.analyse(imustride.load(folder))
        assert not any(run.problems for run in result.runs), result.runs
        return result


def toml(value):
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{key} = {toml(entry)}' for key, entry in value.items())} }}"
    if isinstance(value, list):
        return f"[{', '.join(map(toml, value))}]"
    return json.dumps(value) if isinstance(value, str | bool | int | float) else str(value)


@pytest.fixture
def one():
    return Written("run-1")


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    result = Written("run-1").analysed(tmp_path_factory.mktemp("plain"))
    assert result.runs[0].usable
    assert len(result.pushes) > 12
    return result


def alike(found, expected, relative=0.0, absolute=0.0):
    """Every cell of a table, text and missing ones too."""
    assert list(found.columns) == list(expected.columns)
    numbers = expected.select_dtypes("number").columns
    texts = [column for column in expected.columns if column not in numbers]
    assert found[texts].astype(str).equals(expected[texts].astype(str))
    np.testing.assert_allclose(
        found[numbers].to_numpy(float), expected[numbers].to_numpy(float), rtol=relative, atol=absolute
    )


def same_results(found, expected, relative=0.0, absolute=0.0):
    alike(found.pushes, expected.pushes, relative, absolute)
    alike(found.runs_table, expected.runs_table, relative, absolute)
    alike(found.symmetry, expected.symmetry, relative, absolute)


def test_the_order_of_columns_and_of_files_does_not_matter(one, plain, tmp_path):
    # To the last digit: nothing is computed differently.
    one.logs = {key: table[table.columns[::-1]] for key, table in reversed(one.logs.items())}
    for run in one.declared["runs"]:
        run["files"] = dict(reversed(run["files"].items()))
    same_results(one.analysed(tmp_path), plain)


@pytest.mark.parametrize("form", ["semicolons, decimal commas", "tabs, Windows line ends", "UTF-16"])
def test_the_form_of_the_text_does_not_matter(one, plain, tmp_path, form):
    # To the last digit: the same numbers are read.
    how = {
        "semicolons, decimal commas": {"sep": ";", "decimal": ","},
        "tabs, Windows line ends": {"sep": "\t", "lineterminator": "\r\n"},
        "UTF-16": {"encoding": "utf-16"},
    }[form]
    words = {"sep": "delimiter", "decimal": "decimal", "encoding": "encoding"}
    one.declared |= {words[key]: value for key, value in how.items() if key in words}
    same_results(one.analysed(tmp_path, lambda table, path: table.to_csv(path, index=False, **how)), plain)


def test_the_format_of_the_file_does_not_matter(one, plain, tmp_path):
    # To the last digit: the text holds fewer digits than the numbers of either file.
    for run in one.declared["runs"]:
        run["files"] = {place: f"log.h5#/{run['name']}/{place}" for place in run["files"]}
    with h5py.File(tmp_path / "log.h5", "w") as file:
        for (run, place), table in one.logs.items():
            for column in table.columns:
                file[f"{run}/{place}/{column}"] = table[column].to_numpy()
    same_results(one.analysed(tmp_path), plain)


def test_units_do_not_matter(one, plain, tmp_path):
    # Rounding of the conversions alone, 1e-16 of each sample; what rests on a search over a grid of instants hardly moves.
    one.declared["units"] = {"time": "ms", "acceleration": "g", "angular_velocity": "rad/s"}
    one.declared["columns"]["time"] = "time_ms"
    for key, table in one.logs.items():
        one.logs[key] = pd.concat(
            [
                1e3 * table["time_s"].rename("time_ms"),
                table[FORCE] / STANDARD_GRAVITY_M_S2,
                np.radians(table[TURNING]),
            ],
            axis=1,
        )
    found = one.analysed(tmp_path, lambda table, path: table.to_csv(path, index=False, float_format="%.17g"))
    same_results(found, plain, relative=1e-5, absolute=1e-6)


def test_the_order_of_sensors_decides_on_whose_clock_times_are_and_on_nothing_else(one, plain, tmp_path):
    one.declared["sensors"] = one.declared["sensors"][::-1]
    found = one.analysed(tmp_path)
    assert found.runs[0].clock == "right_skate"
    assert found.pushes[KEYS].equals(plain.pushes[KEYS])
    # Shocks are timed on one sensor's samples or on the other's: some tenths of a sample of 4 ms.
    shift_s = plain.runs[0].clocks["right"].offset_s
    np.testing.assert_allclose(found.pushes[TIMES] + shift_s, plain.pushes[TIMES], rtol=0, atol=0.002)
    np.testing.assert_allclose(found.pushes[DURATIONS], plain.pushes[DURATIONS], rtol=0, atol=0.002)
    np.testing.assert_allclose(found.pushes[[RATE, EDGE]], plain.pushes[[RATE, EDGE]], rtol=1e-9)


def test_the_order_of_runs_does_not_matter(tmp_path):
    session = Written("run-1", "run-2")
    forth = session.analysed(tmp_path / "forth")
    session.declared["runs"] = session.declared["runs"][::-1]
    back = session.analysed(tmp_path / "back")
    assert forth.pushes["run"].iloc[0] == back.pushes["run"].iloc[-1] == "run-1"
    for table in ("pushes", "runs_table"):
        one, other = (
            getattr(result, table).sort_values("run", kind="stable", ignore_index=True)
            for result in (forth, back)
        )
        alike(one, other)
    alike(back.symmetry, forth.symmetry, relative=1e-9, absolute=1e-9)  # sums in another order


@pytest.mark.parametrize("seed", [1, 2])
def test_however_a_sensor_sits_the_metrics_are_those_of_the_skate(one, tmp_path, seed):
    """Axes not declared, turned by any rotation (the place on the skate stays where it is)."""
    for sensor in one.sensors.values():
        del sensor["axes"]
    before = one.analysed(tmp_path / "before")
    rng = np.random.default_rng(seed)
    for key, table in one.logs.items():
        turn = Rotation.random(rng=rng).as_matrix()
        one.logs[key] = table.assign(
            **dict(zip(FORCE, (table[FORCE].to_numpy() @ turn.T).T, strict=True)),
            **dict(zip(TURNING, (table[TURNING].to_numpy() @ turn.T).T, strict=True)),
        )
    found = one.analysed(tmp_path / "turned")
    columns = [*DURATIONS, RATE, EDGE, "blade_speed_m_s", "stride_length_m", "track_angle_deg"]
    # The search for the forward axis begins elsewhere and the limits of single axes fall otherwise: stated per metric,
    # far below what each is known to.
    limits = dict.fromkeys(DURATIONS, 0.004) | {RATE: 3.0, EDGE: 0.3, "blade_speed_m_s": 0.05}
    limits |= {"stride_length_m": 0.05, "track_angle_deg": 0.4}
    assert found.pushes[["side", "push"]].equals(before.pushes[["side", "push"]])
    for column in columns:
        off = (found.pushes[column] - before.pushes[column]).abs().max()
        assert off < limits[column], (column, off)


def test_in_a_mirror_every_index_changes_its_sign(tmp_path):
    """Left and right exchanged, the geometry mirrored: vectors turn over, turning (an axial vector) the other way."""
    session = Written("run-1", "run-2")
    for sensor in session.sensors.values():
        del sensor["axes"]
    before = session.analysed(tmp_path / "before")
    told = {place: dict(sensor) for place, sensor in session.sensors.items()}
    mirrored = {}
    for place, other in zip(SKATES, SKATES[::-1], strict=True):
        x, y, z = told[other]["position_m"]
        session.sensors[place].update(told[other] | {"place": place, "position_m": [x, -y, z]})
    for (run, place), table in session.logs.items():
        side = SKATES[1 - SKATES.index(place)]
        mirrored[run, side] = table.assign(ay=-table["ay"], gx=-table["gx"], gz=-table["gz"])
    session.logs = mirrored
    session.declared["sensors"] = session.declared["sensors"][::-1]  # the clock that counts stays the same
    found = session.analysed(tmp_path / "mirrored")
    assert found.pushes["side"].tolist() == before.pushes["side"].map(OTHER).tolist()
    index, low, high = "symmetry_index_percent", "ci_low_percent", "ci_high_percent"
    there, here = found.symmetry, before.symmetry
    assert here[index].notna().sum() > 10
    # Exact but for rounding: the same sums with the signs turned.
    for one, other in ((index, index), (low, high), (high, low)):
        np.testing.assert_allclose(there[one], -here[other], rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(there["left_mean"], here["right_mean"], rtol=1e-6, atol=1e-6)
    turned = {"left larger": "right larger", "right larger": "left larger"}
    assert there["verdict"].tolist() == here["verdict"].replace(turned).tolist()


def test_twice_the_sampling_rate_tells_the_same_runs():
    """The same device at half its rate: every second sample is left out, and its low pass (107 Hz) leaves little above 125 Hz.

    A log that was interpolated to twice its rate is another matter: what is sudden then begins before it happens, and in the
    logarithm of the energy that counts. Made so of these halves, by a Kaiser window of ten samples either way, blade-ons come 6 ms
    early (median; 1 to 12 ms by run) where those of the whole logs lie within half a millisecond.
    """
    moved = []
    for seed in range(1, 7):
        device = {"rate_hz": 500.0, "low_pass_ratio": 0.215, "low_pass_order": 2, "low_pass_declared": True}
        logs = simulate_run(seed, "good", **device).logs
        halves = {place: every_second(log) for place, log in logs.items()}
        whole, half = (imustride.analyse_logs(f"run-{seed}", one).pushes for one in (logs, halves))
        assert half[["side", "push"]].equals(whole[["side", "push"]])
        moved.append(whole[[*TIMES, RATE, EDGE]] - half[[*TIMES, RATE, EDGE]])
        moved[-1][RATE] /= whole[RATE]
    off = pd.concat(moved)
    # One sample of the slower log is 4 ms: single events are known to that, all together to a quarter of it.
    assert off[TIMES].abs().median().max() < 0.004
    assert off[TIMES].median().abs().max() < 0.001
    assert off[RATE].abs().median() < 0.001
    assert off[EDGE].abs().median() < 0.05


def every_second(log):
    return imustride.SensorLog(
        log.sensor,
        log.time_s[::2].copy(),
        log.acceleration_m_s2[::2].copy(),
        log.angular_velocity_rad_s[::2].copy(),
    )


@pytest.mark.parametrize("where", ["before", "after"])
def test_an_hour_of_rest_changes_nothing(one, plain, where):
    """The sensors lie still before they are worn, or after: the run's own figures stay."""
    rng, session = np.random.default_rng(3), imustride.load(DEMO)
    logs = {}
    for place in SKATES:
        table = one.logs["run-1", place]
        values = table[FORCE + TURNING].to_numpy()
        cut = plain.runs[0].kinematics[place.removesuffix("_skate")].cut
        standing, beside = (
            values[table["time_s"].between(begin_s + 1.0, end_s - 1.0)]
            for begin_s, end_s in (cut.stance_s, cut.stance_s if where == "before" else cut.stop_s)
        )
        # It lies as it stood in the stance beside; what it turns by then is its bias, best seen in the long stance.
        mean = np.hstack((beside[:, :3].mean(axis=0), standing[:, 3:].mean(axis=0)))
        step_s = float(np.ptp(table["time_s"])) / (len(table) - 1)  # single stamps jitter
        # Stances are found in blocks of 0.1 s from the first sample on: as many whole ones. Else they begin or end a block earlier or
        # later: edges move by 0.1 degrees, and of 30 events one by 3 ms.
        count = BLOCK * round(3600.0 / step_s / BLOCK)
        rest = mean + rng.normal(size=(count, 6)) * standing.std(axis=0)
        beside_s = step_s * np.arange(1, count + 1)
        first_s, last_s = table["time_s"].iloc[[0, -1]]
        parts = {
            "before": ([first_s - beside_s[::-1], table["time_s"]], [rest, values]),
            "after": ([table["time_s"], last_s + beside_s], [values, rest]),
        }[where]
        time_s, whole = np.concatenate(parts[0]), np.concatenate(parts[1])
        logs[place] = imustride.SensorLog(
            session.sensor(place), time_s, whole[:, :3].copy(), np.radians(whole[:, 3:])
        )
    found = imustride.analyse_logs("run-1", logs)
    expected = plain.pushes
    assert found.usable, found.reason
    assert found.pushes[["side", "push"]].equals(expected[["side", "push"]])
    # What is left is the line through the time stamps, which jitter by 0.02 ms: over an hour it lies so much beside that over
    # the run. A metric that is the largest of a smoothed signal, between samples, moves by less than a thousandth.
    columns = TIMES + DURATIONS
    np.testing.assert_allclose(found.pushes[columns], expected[columns], rtol=0, atol=1e-4)
    np.testing.assert_allclose(found.pushes[RATE], expected[RATE], rtol=1e-3)
    np.testing.assert_allclose(found.pushes[EDGE], expected[EDGE], rtol=0, atol=0.01)
