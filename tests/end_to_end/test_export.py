"""Sessions exported and read back: the same results, to the last digit where the format can hold them."""

import shutil
import tomllib

import h5py
import numpy as np
import pandas as pd
import pytest

from imustride.preparing.session_text import toml_text

TABLES = ("pushes.csv", "runs.csv", "symmetry.csv")
COUNT_M_S2, COUNT_DEG_S = 16 * 9.80665 / 32768, 2000 / 32768
ACCELERATION, ANGULAR_VELOCITY = ["ax", "ay", "az"], ["gx", "gy", "gz"]


def edited(session, change):
    content = tomllib.loads((session / "session.toml").read_text(encoding="utf-8"))
    change(content)
    (session / "session.toml").write_text(toml_text(content), encoding="utf-8")


def logs(session):
    return [(path, pd.read_csv(path)) for path in sorted(session.glob("run-*/*_skate.csv"))]


def only_the_first_run(content):
    del content["runs"][1:]


def as_it_is(session):
    """Leave the session alone."""


def in_milliseconds_and_g(session):
    for path, table in logs(session):
        table["time_s"] *= 1000
        table[ACCELERATION] /= 9.80665
        table.rename(columns={"time_s": "time_ms"}).to_csv(path, index=False)

    def change(content):
        content["columns"]["time"] = "time_ms"
        content["units"].update(time="ms", acceleration="g")

    edited(session, change)


def in_hdf5(session):
    for path, table in logs(session):
        with h5py.File(path.with_suffix(".h5"), "w") as file:
            file["imu/time"] = table["time_s"]
            file["imu/acc"] = table[ACCELERATION].to_numpy(dtype=np.float32)
            file["imu/gyr"] = table[ANGULAR_VELOCITY].to_numpy(dtype=np.float32)

    def change(content):
        content["columns"] = {"time": "time", "acceleration": "acc", "angular_velocity": "gyr"}
        for run in content["runs"]:
            run["files"] = {place: file.replace(".csv", ".h5#/imu") for place, file in run["files"].items()}

    edited(session, change)


def in_counts(session):
    for path, table in logs(session):
        table[ACCELERATION] = (table[ACCELERATION] / COUNT_M_S2 + 11).round()
        table[ANGULAR_VELOCITY] = (table[ANGULAR_VELOCITY] / COUNT_DEG_S).round()
        table.to_csv(path, index=False)
    for device in ("SIML", "SIMR"):
        folder = session.parent / "calibration" / device
        folder.mkdir(parents=True)
        parts = (("accelerometer", 11, COUNT_M_S2), ("gyroscope", 0, np.radians(COUNT_DEG_S)))
        lines = [f'device = "{device}"\ndate = 2026-09-20\nmethod = "made by hand"\ngravity_m_s2 = 9.81']
        for part, bias, scale in parts:
            rows = (scale * np.eye(3)).tolist()
            lines.append(f"[{part}]\nbias_counts = {[float(bias)] * 3}\nmatrix = {rows}")
        (folder / "2026-09-20.toml").write_text("\n".join(lines), encoding="utf-8")

    def change(content):
        content["units"].update(acceleration="counts", angular_velocity="counts")
        for sensor in content["sensors"]:
            sensor["calibration"] = f"../calibration/{sensor['device']}/2026-09-20.toml"

    edited(session, change)


def with_holes(session):
    for path, table in logs(session):
        holed = table.drop(index=range(2000, 2060))
        holed.loc[1500:1502, "ax"] = np.nan
        holed.to_csv(path, index=False)


def counted_and_conditions(session):
    for path, table in logs(session):
        table.drop(columns="time_s").to_csv(path, index=False)

    def change(content):
        del content["columns"]["time"], content["units"]["time"]
        content["rate_hz"] = 250.0
        content["latitude_deg"] = 60.25
        content["conditions"] |= {"ice temperature": -4, "rink's name": 'the "old" one', "stick": True}
        content["body"] = {"height_m": 1.71}

    edited(session, change)


def one_long_log(session):
    """Both runs in one file of each skate, cut by the session file."""
    tables = {
        side: [pd.read_csv(session / f"run-{i}" / f"{side}_skate.csv") for i in (1, 2)]
        for side in ("left", "right")
    }
    starts = [tables["left"][0]["time_s"].iloc[0]]
    ends = [tables["left"][0]["time_s"].iloc[-1]]
    later = 60.0
    for side, (first, second) in tables.items():
        moved = second.assign(
            time_s=second["time_s"] - second["time_s"].iloc[0] + first["time_s"].iloc[-1] + later
        )
        if side == "left":
            starts.append(moved["time_s"].iloc[0])
            ends.append(moved["time_s"].iloc[-1])
        pd.concat([first, moved]).to_csv(session / f"{side}.csv", index=False)

    def change(content):
        for run, start_s, end_s in zip(content["runs"], starts, ends, strict=True):
            run["files"] = {"left_skate": "left.csv", "right_skate": "right.csv"}
            run["start_s"], run["end_s"] = float(start_s), float(end_s)

    edited(session, change)


CHANGES = [
    as_it_is,
    in_milliseconds_and_g,
    in_hdf5,
    in_counts,
    with_holes,
    counted_and_conditions,
    one_long_log,
]


@pytest.mark.parametrize(
    ("form", "change"),
    [*(("bids", change) for change in CHANGES), ("parquet", in_milliseconds_and_g), ("parquet", with_holes)],
    ids=lambda value: getattr(value, "__name__", value),
)
def test_the_same_results_to_the_last_digit(session, command, tmp_path, change, form):
    change(session)
    if change not in {as_it_is, one_long_log}:
        edited(session, only_the_first_run)
    assert command("analyse", session, "--out", tmp_path / "before", "--quiet")[0] == 0
    options = ["--results", tmp_path / "before"] if form == "bids" else []
    assert command("export", form, session, tmp_path / "out", *options, "--quiet")[::2] == (0, "")
    assert command("analyse", tmp_path / "out", "--out", tmp_path / "after", "--quiet")[0] == 0
    for name in TABLES:
        before, after = (folder / name for folder in (tmp_path / "before", tmp_path / "after"))
        assert after.read_bytes() == before.read_bytes(), name
    assert len(pd.read_csv(tmp_path / "after" / "pushes.csv")) > 10


@pytest.mark.parametrize("change", [as_it_is, with_holes, in_counts], ids=lambda change: change.__name__)
def test_c3d_gives_the_same_to_its_seven_digits(session, command, tmp_path, change):
    change(session)
    edited(session, only_the_first_run)
    assert command("analyse", session, "--out", tmp_path / "before", "--quiet")[0] == 0
    assert command("export", "c3d", session, tmp_path / "out", "--quiet")[::2] == (0, "")
    assert command("analyse", tmp_path / "out", "--out", tmp_path / "after", "--quiet")[0] == 0
    before, after = (pd.read_csv(tmp_path / name / "pushes.csv") for name in ("before", "after"))
    exact = ["run", "side", "push", "phase", "flags"]
    pd.testing.assert_frame_equal(after[exact], before[exact])
    # 32-bit floats are out by 6e-8 of a value; an instant found on a grid of samples can move by none of them.
    pd.testing.assert_frame_equal(after, before, check_exact=False, rtol=1e-4, atol=2e-5)


def test_a_dataset_exported_again_is_the_same(session, command, tmp_path):
    assert command("export", "bids", session, tmp_path / "one", "--quiet")[0] == 0
    assert command("export", "bids", tmp_path / "one", tmp_path / "two", "--quiet")[0] == 0
    first = {
        path.relative_to(tmp_path / "one"): path for path in tmp_path.glob("one/sub-*/**/*") if path.is_file()
    }
    assert len(first) > 12
    for name, path in first.items():
        assert (tmp_path / "two" / name).read_bytes() == path.read_bytes(), name


def test_events_are_those_of_the_results(session, command, tmp_path):
    assert command("export", "bids", session, tmp_path / "out", "--quiet")[0] == 0
    (events,) = (tmp_path / "out").glob("sub-*/ses-*/motion/*run-01_events.tsv")
    table = pd.read_csv(events, sep="\t", na_values="n/a")
    assert list(table.columns[:3]) == ["onset", "duration", "trial_type"]
    assert table["onset"].is_monotonic_increasing
    (results,) = tmp_path.glob("out/derivatives/imustride/sub-*/ses-*")
    pushes = pd.read_csv(results / "pushes.csv").query("run == 'run-1'")
    for kind in ("blade_on", "blade_off"):
        for side in ("left", "right"):
            found = table[(table["trial_type"] == kind) & (table["side"] == side)]
            wanted = pushes[pushes["side"] == side].dropna(subset=f"{kind}_s")
            assert found["onset"].tolist() == wanted[f"{kind}_s"].tolist()
            assert found["push"].astype(int).tolist() == wanted["push"].tolist()
    gates = table.query("trial_type == 'gate'")
    written = pd.read_csv(session / "run-1" / "gates.csv")
    assert gates["position_m"].tolist() == written["position_m"].tolist()
    assert gates["time_s"].tolist() == written["time_s"].tolist()
    # The body passes the gates as far apart as the timing system says, to what both are known to.
    assert np.diff(gates["onset"])[0] == pytest.approx(np.diff(written["time_s"])[0], abs=0.05)


def test_what_cannot_be_read_is_told_and_left_out(session, command, tmp_path):
    (session / "run-2" / "right_skate.csv").write_bytes(b"\0\1")
    for form in ("bids", "parquet", "c3d"):
        status, _, err = command("export", form, session, tmp_path / form, "--quiet")
        assert status == 3
        assert "run-2: run-2/right_skate.csv" in err
    assert not list((tmp_path / "bids").glob("sub-*/ses-*/motion/*rightskate_run-02*"))
    content = tomllib.loads((tmp_path / "c3d" / "session.toml").read_text(encoding="utf-8"))
    assert list(content["runs"][1]["files"]) == ["left_skate"]


def test_nothing_is_overwritten(session, command, tmp_path):
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "mine.txt").write_text("mine", encoding="utf-8")
    for form in ("bids", "parquet", "c3d"):
        status, _, err = command("export", form, session, tmp_path / "there", "--quiet")
        assert (status, "found something there" in err) == (2, True)
    assert [path.name for path in (tmp_path / "there").iterdir()] == ["mine.txt"]
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".there")]


@pytest.mark.parametrize("form", ["bids", "parquet", "c3d"])
def test_a_dry_run_leaves_nothing(session, command, tmp_path, form):
    status, out, _ = command("export", form, session, tmp_path / "out", "--dry-run")
    assert status == 0
    assert out.startswith("nothing written (dry run): ")
    assert [path.name for path in tmp_path.iterdir()] == ["session"]


def test_results_of_another_session_are_refused(session, command, tmp_path):
    assert command("analyse", session, "--out", tmp_path / "results", "--quiet")[0] == 0
    path = session / "run-1" / "left_skate.csv"
    path.write_text(path.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    status, _, err = command(
        "export", "bids", session, tmp_path / "out", "--results", tmp_path / "results", "--quiet"
    )
    assert status == 3
    assert "results of another run-1/left_skate.csv than that of the session" in err
    assert not (tmp_path / "out").exists()


def test_tables_of_results_in_parquet(session, command, tmp_path):
    assert command("export", "parquet", session, tmp_path / "out", "--quiet")[0] == 0
    assert command("analyse", session, "--out", tmp_path / "results", "--quiet")[0] == 0
    for name in ("pushes", "runs", "symmetry"):
        held = pd.read_parquet(tmp_path / "out" / "results" / f"{name}.parquet")
        wanted = pd.read_csv(tmp_path / "results" / f"{name}.csv")
        assert list(held.columns) == list(wanted.columns)
        for column in held.select_dtypes("number"):
            np.testing.assert_allclose(
                held[column].astype(float), wanted[column].astype(float), rtol=6e-6, atol=6e-6
            )


def test_a_dataset_is_checked_and_inspected_as_any_session(session, command, tmp_path):
    assert command("export", "bids", session, tmp_path / "out", "--quiet")[0] == 0
    shutil.rmtree(tmp_path / "out" / "derivatives")
    assert command("inspect", tmp_path / "out")[0] == 0
    assert command("check", tmp_path / "out")[0] == command("check", session)[0]
