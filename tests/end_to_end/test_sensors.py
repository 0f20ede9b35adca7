"""Sensors beyond two plain skates: another clock, counts, calibrations, HDF5."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from imustride.cli.boundary import run
from imustride.simulation import simulate_session, write_session

COUNT_M_S2, COUNT_DEG_S = 16 * 9.80665 / 32768, 2000 / 32768
BIAS_COUNTS = [11.0, -7.0, 5.0]


def pushes(folder):
    return pd.read_csv(folder / "pushes.csv")


@pytest.fixture(scope="module")
def plain(invented, tmp_path_factory):
    """Give the pushes of the session as it is."""
    out = tmp_path_factory.mktemp("plain") / "out"
    assert run(["analyse", str(invented), "--out", str(out), "--quiet"]) == 0
    return pushes(out)


def test_the_first_sensor_counts_the_time_wherever_it_is_worn(session, command, tmp_path, plain):
    text = (session / "session.toml").read_text(encoding="utf-8")
    pelvis = '[[sensors]]\nplace = "pelvis"\n\n'
    text = text.replace("[[sensors]]", pelvis + "[[sensors]]", 1)
    for name in ("run-1", "run-2"):
        text = text.replace(f'left_skate = "{name}', f'pelvis = "{name}/pelvis.csv", left_skate = "{name}')
        table = pd.read_csv(session / name / "left_skate.csv")
        table.assign(time_s=table["time_s"] + 100).to_csv(session / name / "pelvis.csv", index=False)
    (session / "session.toml").write_text(text, encoding="utf-8")
    assert command("analyse", session, "--out", tmp_path / "out", "--quiet")[::2] == (0, "")
    assert (pd.read_csv(tmp_path / "out" / "runs.csv")["clock"] == "pelvis").all()
    found = pushes(tmp_path / "out")
    # The pelvis sensor's log is the left skate's, so that the shift is known; a skate's declared delay stays taken out.
    shift_s = (found["blade_off_s"] - plain["blade_off_s"]).to_numpy()
    np.testing.assert_allclose(shift_s, 100, atol=0.01)
    np.testing.assert_allclose(found["contact_time_s"], plain["contact_time_s"], atol=1e-4)


def test_a_sensor_elsewhere_that_cannot_be_joined_leaves_the_time_to_the_skates(session, command, tmp_path):
    text = (session / "session.toml").read_text(encoding="utf-8")
    text = text.replace("[[sensors]]", '[[sensors]]\nplace = "head"\n\n[[sensors]]', 1)
    rng = np.random.default_rng(3)
    for name in ("run-1", "run-2"):
        text = text.replace(f'left_skate = "{name}', f'head = "{name}/head.csv", left_skate = "{name}')
        time_s = np.arange(0, 20, 0.005)
        table = pd.DataFrame(
            rng.normal(0, 0.05, (len(time_s), 6)), columns=["ax", "ay", "az", "gx", "gy", "gz"]
        )
        table.insert(0, "time_s", time_s)
        table["az"] += 9.81
        table.loc[time_s > 8, "gx"] += 60 * np.sin(5 * time_s[time_s > 8])
        table.to_csv(session / name / "head.csv", index=False)
    (session / "session.toml").write_text(text, encoding="utf-8")
    assert command("analyse", session, "--out", tmp_path / "out", "--quiet")[::2] == (0, "")
    assert (pd.read_csv(tmp_path / "out" / "runs.csv")["clock"] == "left_skate").all()


def as_counts(session, device):
    """Rewrite the left skate's logs as counts and give the calibration that undoes it."""
    for name in ("run-1", "run-2"):
        path = session / name / "left_skate.csv"
        table = pd.read_csv(path)
        for names, count in ((["ax", "ay", "az"], COUNT_M_S2), (["gx", "gy", "gz"], COUNT_DEG_S)):
            table[names] = np.rint(table[names] / count + BIAS_COUNTS)
        table.to_csv(path, index=False)
    scale = {"accelerometer": COUNT_M_S2, "gyroscope": float(np.radians(COUNT_DEG_S))}
    lines = [f'device = "{device}"', "date = 2026-09-20", 'method = "made up"', "gravity_m_s2 = 9.81"]
    for part, count in scale.items():
        rows = [[count if i == k else 0.0 for k in range(3)] for i in range(3)]
        lines += [f"[{part}]", f"bias_counts = {BIAS_COUNTS}", f"matrix = {rows}"]
    (session / "left.toml").write_text("\n".join(lines), encoding="utf-8")
    text = (session / "session.toml").read_text(encoding="utf-8")
    said = 'calibration = "left.toml"\nunits = { acceleration = "counts", angular_velocity = "counts" }'
    text = text.replace('place = "left_skate"', f'place = "left_skate"\n{said}', 1)
    (session / "session.toml").write_text(text, encoding="utf-8")


def test_counts_become_units_by_the_calibration(session, command, tmp_path, plain):
    as_counts(session, "SIML")
    assert command("analyse", session, "--out", tmp_path / "out", "--quiet")[::2] == (0, "")
    found = pushes(tmp_path / "out")
    assert (found[["run", "side", "push"]] == plain[["run", "side", "push"]]).all(axis=None)
    np.testing.assert_allclose(found["contact_time_s"], plain["contact_time_s"], atol=4e-3)
    ratio = found["push_off_angular_velocity_deg_s"] / plain["push_off_angular_velocity_deg_s"]
    np.testing.assert_allclose(ratio, 1, atol=2e-3)
    assert "left.toml" in (tmp_path / "out" / "provenance.json").read_text(encoding="utf-8")


def test_counts_without_calibration_are_refused(session, command, tmp_path):
    as_counts(session, "SIML")
    path = session / "session.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace('calibration = "left.toml"\n', ""), encoding="utf-8"
    )
    status, _, err = command("analyse", session, "--out", tmp_path / "out")
    assert status == 3
    assert "calibration: missing; counts have no scale without it" in err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("fault", ["another device", "no file"])
def test_a_calibration_that_does_not_fit_is_said(session, command, tmp_path, fault):
    as_counts(session, "S999" if fault == "another device" else "SIML")
    if fault == "no file":
        (session / "left.toml").unlink()
    status, _, err = command("analyse", session, "--out", tmp_path / "out")
    lines = [line for line in err.splitlines() if line.startswith("imustride: run-")]
    assert status == 3
    assert len(lines) == 2
    assert all("left.toml" in line for line in lines)


def test_hdf5_gives_what_text_gives(command, tmp_path):
    runs = simulate_session(11, 1, "good", rate_hz=250.0)
    for layout in ("csv", "hdf5"):
        write_session(tmp_path / layout, runs, "Q11", dt.date(2026, 10, 3), layout=layout)
        assert command("analyse", tmp_path / layout, "--out", tmp_path / f"{layout}-out", "--quiet")[0] == 0
    one, other = (pushes(tmp_path / f"{layout}-out") for layout in ("csv", "hdf5"))
    np.testing.assert_allclose(one["blade_off_s"], other["blade_off_s"], atol=1e-3)
    assert list(one["flags"].fillna("")) == list(other["flags"].fillna(""))
