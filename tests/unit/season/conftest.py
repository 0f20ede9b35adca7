"""Stores to try things on, and sessions made by hand."""

import datetime as dt
import itertools
from pathlib import Path

import pandas as pd
import pytest

from imustride.season.adding import Input, NewSession, add_session
from imustride.season.store import open_store
from tests import postgres

TODAY = dt.date(2026, 11, 20)
NUMBERS = itertools.count()


@pytest.fixture(scope="session")
def server(lacks):
    if postgres.programs() is None:
        lacks(postgres.MISSING)
    with postgres.running_server() as running:
        yield running


@pytest.fixture(params=["file", "server"])
def place(request, tmp_path):
    """Give the place of a store that is not there yet: a file, and a database."""
    if request.param == "file":
        return str(tmp_path / "season.db")
    return request.getfixturevalue("server").database(f"store_{next(NUMBERS)}")


@pytest.fixture
def store(place):
    return open_store(place, create=True)


@pytest.fixture
def store_file(tmp_path):
    open_store(str(tmp_path / "season.db"), create=True)
    return tmp_path / "season.db"


def made_session(
    athlete="A07",
    date="2026-10-03",
    name="evening",
    contact_s=(0.30, 0.32, 0.31, 0.35),
    *,
    logs=("aa",),
    consent="guardian",
    **facts,
):
    """One session of two runs, each of four pushes and one first lift; `contact_s` are those of the first run."""
    sides = ["left", "right", "left", "right", "left"]
    pushes = pd.DataFrame(
        {
            "run": ["run-1"] * 5 + ["run-2"] * 5,
            "side": sides * 2,
            "push": [0, 1, 1, 2, 2] * 2,
            "phase": (["acceleration"] * 3 + ["later"] * 2) * 2,
            "contact_time_s": [float("nan"), *contact_s, 9.0, 0.40, 0.42, float("nan"), 0.44],
            "edge_angle_deg": [20.0 + i for i in range(10)],
            "flags": (["first_lift;standing_start"] + [""] * 4) * 2,
        }
    )
    runs = pd.DataFrame(
        {
            "run": ["run-1", "run-2"],
            "gate_time_s": [4.8, float("nan")],
            "usable": [True, False],
            "reason": ["", "a stumble"],
        }
    )
    symmetry = pd.DataFrame(
        {"phase": ["all"], "metric": ["contact_time_s"], "left_mean": [0.31], "verdict": ["unclear"]}
    )
    skate = {"mount": "holder", "rate_hz": 500.0, "bandwidth_hz": None, "calibrated": True}
    declared = {
        "athlete": athlete,
        "date": date,
        "name": name,
        "surface": "ice",
        "protocol": "sprint-100ft",
        "consent": consent,
        "conditions": {"stick": False},
        "sensors": [
            {"place": "left_skate", **skate},
            {"place": "right_skate", **skate, "rate_hz": 250.0, "calibrated": False},
        ],
        **facts,
    }
    return NewSession(
        declared,
        {"pushes": pushes, "runs": runs, "symmetry": symmetry},
        {"pushes": repr(contact_s)},
        {"contact_time_s": 2, "edge_angle_deg": 1},
        {"contact": {"slip": 0.1}},
        "0.5",
        [Input("log", f"{digest}.csv", digest * 32) for digest in logs],
        Path(f"/results/{athlete}-{date}-{name}"),
    )


@pytest.fixture
def add(store):
    """Add a session made by hand."""

    def call(*arguments, dry_run=False, **options):
        return add_session(store, made_session(*arguments, **options), today=TODAY, dry_run=dry_run)

    return call
