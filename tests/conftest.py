"""A session result made by hand, with nothing of the analysis in it; and where the open data are."""

import dataclasses
import datetime as dt
import io
import os
import signal
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imustride.kinematics import BladePath, BodyPath, Clock, Cut, Gates, Kinematics
from imustride.results import RunResult, SessionResult
from imustride.session import Columns, Run, Sensor, Session, Units

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))  # tests share their generators: `from tests.generators...`

# A shell that starts the tests in the background has Ctrl-C ignored, by all that they start too.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

PUSHES = 9  # of each foot
RATE_HZ = 100.0
SYMMETRY = """\
phase,metric,unit,left_mean,right_mean,left_cv_percent,right_cv_percent,n_left,n_right,n_runs,scope,\
symmetry_index_percent,ci_low_percent,ci_high_percent,difference,difference_ci_low,difference_ci_high,\
smallest_difference,smallest_difference_source,verdict,\
systematic_percent,systematic_difference,runs_needed,advice
acceleration,contact_time_s,s,.301,.332,5.1,4.7,4,6,2,day,9.79,6.1,13.5,.031,.019,.043,5,convention,right larger,\
1.2,.004,-,
later,contact_time_s,s,.304,.311,5.4,4.9,12,12,2,day,2.28,-3,7.5,.007,-.009,.023,5,convention,unclear,\
1.2,.004,7,more_runs
later,stride_rate_hz,Hz,1.6,1.6,5,5,12,12,2,day,.5,-2.5,3.5,.01,-.02,.03,5,convention,alike,0,0,-,
later,push_off_angular_velocity_deg_s,deg/s,601,604,4,4.2,12,12,2,day,.5,-2.5,3.5,3,-15,21,5,convention,alike,1,6,-,
later,double_support_s,s,.021,.015,-,-,12,12,2,day,-,-,-,-.006,-.014,.002,.015,convention,unclear,\
-,.007,-,better_calibration
later,track_angle_deg,deg,-,-,-,-,0,0,0,,-,-,-,-,-,-,2,convention,not measured,-,-,-,no_pairs
all,contact_time_s,s,.303,.318,5.2,4.8,16,18,2,day,4.83,1.1,8.5,.015,.003,.027,5,convention,unclear,1.2,.004,-,
"""


def hand_made_session(consent="guardian", names=("run-1", "run-2", "run-3")):
    sensors = tuple(Sensor(place=place, device="S0") for place in ("left_skate", "right_skate"))
    runs = tuple(Run(name=name, files={"left_skate": "l.csv", "right_skate": "r.csv"}) for name in names)
    return Session(
        athlete="A07",
        date=dt.date(2026, 10, 3),
        surface="ice",
        protocol="sprint-100ft",
        consent=consent,
        columns=Columns(),
        units=Units(),
        sensors=sensors,
        runs=runs,
        folder=Path("recordings/made-by-hand"),
    )


def hand_made_pushes(name, seed=0):
    """Alternating pushes; the left foot lifts first from standing, the right foot pushes first."""
    rng = np.random.default_rng(seed)
    order = np.arange(2 * PUSHES)
    blade_off_s = 10.4 + 0.31 * order + rng.normal(0, 0.004, len(order))
    contact_s = np.where(order % 2, 0.30, 0.33) + rng.normal(0, 0.015, len(order))
    table = pd.DataFrame(
        {
            "run": name,
            "side": np.where(order % 2, "left", "right"),
            "push": order // 2 + 1,
            "phase": np.where(order < 6, "acceleration", "later"),
            "blade_on_s": np.where(order < 1, np.nan, blade_off_s - contact_s),
            "blade_off_s": blade_off_s,
            "contact_time_s": np.where(order < 1, np.nan, contact_s),
            "step_time_s": np.where(order < 1, np.nan, 0.31),
            "push_off_angular_velocity_deg_s": 520 + 8 * order + rng.normal(0, 20, len(order)),
            "edge_angle_deg": 24 + 0.6 * order,
            "flags": np.where(order < 1, "standing_start", ""),
        }
    )
    first = table.iloc[[0]].assign(side="left", push=0, blade_off_s=10.2, flags="first_lift;standing_start")
    return pd.concat([first, table], ignore_index=True)


def hand_made_skate(side, samples=400):
    time_s = np.arange(samples) / RATE_HZ
    swing = np.sin(2 * np.pi * 1.6 * time_s)
    still = np.zeros(samples)
    return Kinematics(
        side=side,
        start_s=9.0,
        rate_hz=RATE_HZ,
        acceleration_m_s2=np.column_stack([swing, still, 9.81 + swing]),
        angular_velocity_rad_s=np.column_stack([still, 8 * swing, still]),
        earth_from_segment=np.tile(np.eye(3), (samples, 1, 1)),
        velocity_m_s=np.zeros((samples, 3)),
        measured=np.ones(samples, dtype=bool),
        clipped=np.zeros((samples, 2), dtype=bool),
        cut=Cut((9.0, 10.0), (10.0, 13.0)),
    )


def hand_made_path(side, own_s):
    """A blade that speeds up to 8 m/s and swings half a metre to its side and back, 1.6 times a second."""
    since = np.maximum(own_s - own_s[0] - 1.0, 0.0)
    sign = 1 if side == "left" else -1
    along = 8.0 * (since - 1.2 * (1 - np.exp(-since / 1.2)))
    across = sign * (0.15 + 0.25 * np.sin(np.pi * 1.6 * since) ** 2)
    root = np.zeros((len(own_s), 2, 2))
    root[:, 0, 0], root[:, 1, 1] = 0.05, 0.02
    place = np.column_stack([along, across])
    still = np.zeros(400)
    return BladePath(own_s, place, np.gradient(place, own_s, axis=0), still, root, np.zeros((400, 2)), 0.01)


def hand_made_body(time_s, gate_m):
    along = hand_made_path("left", time_s).position_m[:, 0]
    root = np.full((len(time_s), 1), 0.05)
    passed = np.interp(gate_m, along, time_s)
    return BodyPath(
        time_s,
        along,
        np.gradient(along, time_s),
        root[:, 0],
        root,
        root,
        gate_m,
        passed,
        np.zeros(len(gate_m)),
    )


def hand_made_symmetry():
    table = pd.read_csv(io.StringIO(SYMMETRY), keep_default_na=False, na_values=["-"])
    return table.astype({"runs_needed": "Int64"})


def hand_made_result(consent="guardian"):
    names = ("run-1", "run-2", "run-3")
    reasons = ("", "", "the right sensor clipped in 4 of 9 pushes")
    skates = {side: hand_made_skate(side) for side in ("left", "right")}
    clocks = {"left": Clock(), "right": Clock(offset_s=-2.5, drift=2e-5, at_s=9.0, sd_s=0.001)}
    runs = tuple(
        RunResult(name, hand_made_pushes(name, seed), skates, clocks, usable=not reason, reason=reason)
        for seed, (name, reason) in enumerate(zip(names, reasons, strict=True))
    )
    seconds = np.arange(9.3, 17.0, 0.02)
    paths = {"left": hand_made_path("left", seconds), "right": hand_made_path("right", seconds + 2.5)}
    gates = Gates(np.array([0.0, 30.48]), np.array([0.0, 4.832]), 0.5)
    body = hand_made_body(seconds, np.array([0.5, 30.98]))
    runs = (dataclasses.replace(runs[0], paths=paths, body=body, gates=gates), *runs[1:])
    runs_table = pd.DataFrame(
        {
            "run": names,
            "clock": "left_skate",
            "gate_time_s": [4.832, np.nan, 4.901],
            "pushes_left": PUSHES,
            "pushes_right": PUSHES,
            "start_foot": "right",
            "step_rate_hz": 3.226,
            "stride_rate_hz": 1.613,
            "mean_speed_m_s": [6.31, np.nan, 6.22],
            "peak_speed_m_s": np.nan,
            "usable": [run.usable for run in runs],
            "reason": reasons,
        }
    )
    pushes = pd.concat([run.pushes for run in runs], ignore_index=True)
    provenance = {"settings": {"filter": "strapdown"}, "inputs": {"run-1/l.csv": "ab" * 32}}
    session = hand_made_session(consent, names)
    return SessionResult(session, runs, pushes, runs_table, hand_made_symmetry(), provenance)


@pytest.fixture
def make_result():
    """Make a result by hand."""
    return hand_made_result


@pytest.fixture(scope="session")
def result():
    """A result of three runs by hand, one of them unusable."""
    return hand_made_result()


@pytest.fixture(scope="session")
def lacks():
    """Skip a test that lacks a part of the system; fail where everything must be there."""
    return pytest.fail if os.environ.get("IMUSTRIDE_REQUIRE_ALL") == "1" else pytest.skip


@pytest.fixture(scope="session")
def open_data():
    """Give the folder of a set of open data by its name, or skip."""
    base = Path(os.environ.get("IMUSTRIDE_OPEN_DATA", ROOT.parent / "shared" / "data"))

    def find(name):
        folder = base / name
        if not folder.is_dir():
            pytest.skip(f"open data {name!r} not found in {base}; set IMUSTRIDE_OPEN_DATA to their folder")
        return folder

    return find
