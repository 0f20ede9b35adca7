"""From a session folder to results, as a user would do it."""

import json
import re

import h5py
import numpy as np
import pandas as pd
import pytest

from imustride.cli import boundary
from imustride.exporting import sha256, verify
from imustride.pipeline import analyse_session, session_notes, start_behind_m
from imustride.session import read_session

PUSHES = [
    "run", "side", "push", "phase", "blade_on_s", "blade_off_s", "contact_time_s", "swing_time_s", "stride_time_s",
    "stride_rate_hz", "step_time_s", "double_support_s", "push_off_angular_velocity_deg_s", "edge_angle_deg",
    "track_angle_deg", "blade_speed_m_s", "stride_length_m", "stride_width_m", "lateral_travel_m",
]  # fmt: skip
RUNS = [
    "run", "clock", "gate_time_s", "pushes_left", "pushes_right", "start_foot", "step_rate_hz", "stride_rate_hz",
    "mean_speed_m_s", "peak_speed_m_s",
]  # fmt: skip
SYMMETRY = [
    "phase", "metric", "unit", "left_mean", "right_mean", "left_cv_percent", "right_cv_percent", "n_left", "n_right",
    "n_runs", "scope", "symmetry_index_percent", "ci_low_percent", "ci_high_percent", "difference",
    "difference_ci_low", "difference_ci_high", "smallest_difference", "smallest_difference_source", "verdict",
]  # fmt: skip


@pytest.fixture(scope="module")
def out(invented, tmp_path_factory):
    folder = tmp_path_factory.mktemp("results") / "out"
    assert boundary.run(["analyse", str(invented), "--out", str(folder), "--quiet"]) == 0
    return folder


@pytest.mark.parametrize(
    ("name", "first", "last"),
    [("pushes", PUSHES, ["flags"]), ("runs", RUNS, ["usable", "reason"]), ("symmetry", SYMMETRY, [])],
)
def test_tables_have_the_columns_of_the_contract_in_its_order(out, name, first, last):
    header = (out / f"{name}.csv").read_bytes().decode("utf-8").split("\n")[0].split(",")
    assert header[: len(first)] == first
    assert header[len(header) - len(last) :] == last


def test_files_are_plain(out):
    for name in ("pushes", "runs", "symmetry"):
        content = (out / f"{name}.csv").read_bytes()
        assert not content.startswith(b"\xef\xbb\xbf")
        assert b"\r" not in content
        assert content.endswith(b"\n")


def test_pushes_are_ordered_and_numbered(out):
    pushes = pd.read_csv(out / "pushes.csv", keep_default_na=False, na_values=[""])
    assert set(pushes["side"]) == {"left", "right"}
    for _, run in pushes.groupby("run"):
        assert run["blade_off_s"].is_monotonic_increasing
        for _, side in run.groupby("side"):
            numbers = side["push"].tolist()
            assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
            assert numbers[0] in {0, 1}
        assert sorted(run.groupby("side")["push"].min()) == [0, 1]
        counted = run[run["push"] > 0]
        assert (counted["phase"].head(6) == "acceleration").all()
        assert (counted["phase"].iloc[6:] == "later").all()


def test_most_of_the_true_pushes_are_there(out, invented):
    """A coarse check of the chain as a whole; how exact it is, is measured elsewhere."""
    truth = pd.read_csv(invented / "truth.csv")
    pushes = pd.read_csv(out / "pushes.csv")
    for (run, side), true in truth.groupby(["run", "side"]):
        found = pushes[(pushes["run"] == run) & (pushes["side"] == side)]["blade_off_s"].to_numpy()
        nearest = np.abs(true["blade_off_s"].to_numpy()[:, None] - found[None, :]).min(axis=1)
        assert np.median(nearest) < 0.02


def test_provenance_covers_inputs_settings_and_results(out, invented):
    provenance = verify(out)
    inputs = provenance["inputs"]
    assert inputs["session.toml"] == sha256(invented / "session.toml")
    assert {sha256(path) for path in invented.glob("run-*/*_skate.csv")} <= set(inputs.values())
    assert provenance["settings"]
    assert provenance["definitions"]["contact_time_s"] >= 1
    assert str(invented) not in (out / "provenance.json").read_text(encoding="utf-8")


def test_every_column_is_described(out):
    package = json.loads((out / "datapackage.json").read_text(encoding="utf-8"))
    for resource in package["resources"]:
        for field in resource["schema"]["fields"]:
            assert field.get("description"), field["name"]


def test_signals_and_events_are_kept(out):
    pushes = pd.read_csv(out / "pushes.csv")
    with h5py.File(out / "session.h5") as file:
        assert set(file["runs"]) == set(pushes["run"])
        for run, rows in pushes.groupby("run"):
            for side, mine in rows.groupby("side"):
                events = file[f"runs/{run}/{side}/events/blade_off"][:]
                np.testing.assert_allclose(events, mine["blade_off_s"], atol=1e-5)
                path = file[f"runs/{run}/{side}/path"]
                assert path["position"].shape == path["velocity"].shape == (len(path["time"]), 2)
                assert path["position"][-1, 0] > 25


def test_again_gives_the_same_bytes(out, invented, command, tmp_path):
    assert command("analyse", invented, "--out", tmp_path / "again", "--quiet")[0] == 0
    assert {p.name: sha256(p) for p in out.iterdir()} == {
        p.name: sha256(p) for p in (tmp_path / "again").iterdir()
    }


def test_results_replace_earlier_ones(out, invented, command):
    status, said, _ = command("analyse", invented, "--out", out)
    assert status == 0
    assert said.splitlines()[-1] == f"page: {out / 'summary.html'}"
    assert verify(out)


def test_inspect_finds_nothing_wrong(invented, command):
    status, said, _ = command("inspect", invented)
    assert status == 0
    assert said.count("Hz") >= 4


def test_a_declared_rocker_goes_with_the_skate_and_an_impossible_start_is_told(session):
    file = session / "session.toml"
    text = file.read_text(encoding="utf-8")
    assert "start_behind_m" in text
    file.write_text(
        "rocker_radius_m = 3.2\n" + re.sub("start_behind_m = .*", "start_behind_m = -0.5", text),
        encoding="utf-8",
    )
    found = analyse_session(session)
    assert {moved.rocker_radius_m for run in found.runs for moved in run.kinematics.values()} == {3.2}
    assert {run.gates.start_behind_m for run in found.runs} == {None}
    (note,) = [note for note in found.notes if "start_behind_m" in note]
    assert "found -0.5" in note
    assert "not used" in note
    assert all(run.problems == () for run in found.runs)


@pytest.mark.parametrize(
    ("said", "used"), [(0.5, 0.5), (0, 0.0), (5.0, 5.0), (-0.01, None), (5.01, None), ("half a metre", None)]
)
def test_the_start_line_lies_up_to_five_metres_behind_the_first_gate(session, said, used):
    one = read_session(session)
    one = one.model_copy(update={"conditions": {"start_behind_m": said}})
    assert start_behind_m(one) == used
    assert len(session_notes(one, [])) == (used is None)
    assert session_notes(one.model_copy(update={"conditions": {}}), []) == ()


def test_every_run_has_its_speeds_and_every_value_its_deviation(out):
    runs = pd.read_csv(out / "runs.csv", keep_default_na=False, na_values=[""])
    for name in (
        "mean_speed_m_s", "peak_speed_m_s", "distance_m", "profile_v_max_m_s", "profile_tau_s", "gate_1_speed_m_s",
        "gate_2_speed_m_s",
    ):  # fmt: skip
        assert (runs[name] > 0).all(), name
        assert (runs[f"{name}_sd"] > 0).all(), name
    assert (runs["profile_from"] == "speed").all()
    np.testing.assert_allclose(runs["split_1_s"], runs["gate_time_s"])
    # The way to the last gate is that between the gates and what lies behind the first: less than five metres.
    assert runs["distance_m"].between(30.48, 30.48 + 5.0).all()
    with h5py.File(out / "session.h5") as file:
        for group in file["runs"].values():
            assert group["body/gate_time"].shape == (2,)
