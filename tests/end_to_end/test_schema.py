"""The schemas are valid by an independent validator (jsonschema), accept what is written, and refuse what is not right."""

import copy
import json
import tomllib
from pathlib import Path

import jsonschema
import pandas as pd
import pytest
from pydantic import ValidationError

from imustride.cli.boundary import run
from imustride.cli.schema import schemas
from imustride.errors import FileFormatError
from imustride.exporting.schemas import RULES
from imustride.session import Session, declared, tuples

DEMO = Path(__file__).parents[2] / "recordings" / "demo"
# Everything that a session file may hold.
FULL = """
athlete = "A07"
birth_year = 2010
date = 2026-10-03
surface = "ice"
protocol = "sprint-100ft"
consent = "guardian"
latitude_deg = 60.0
rocker_radius_m = 3
delimiter = ";"
decimal = ","
encoding = "utf-8"
conditions = { start_behind_m = 0.5, stick = false, blade = "new" }
columns = { time = "time_s", acceleration = ["ax", "ay", "az"], angular_velocity = ["gx", "gy", "gz"] }
units = { time = "s", acceleration = "m/s^2", angular_velocity = "deg/s" }
movements = [{ kind = "all", files = { pelvis = "pelvis.csv" }, start_s = 1.0, end_s = 31.5 }]
body = { height_m = 1.73, left_thigh_m = 0.42 }

[[sensors]]
place = "left_skate"
device = "S041"
axes = ["+x", "+y", "+z"]
position_m = [0.0, 0.04, 0.1]
mount = "holder"
rocker_radius_m = 2.5
acceleration_range_g = 16
angular_velocity_range_deg_s = 2000
bandwidth_hz = 200
delay_ms = 1.5
calibration = "../calibration/S041.toml"

[[sensors]]
place = "pelvis"
columns = { acceleration = "acc" }
units = { acceleration = "g" }

[[runs]]
name = "run-1"
files = { left_skate = "run-1/left_skate.csv", pelvis = "run-1/log.h5#/pelvis" }
gates = "run-1/gates.csv"
start_s = 2.0
end_s = 30
"""
ODD = ("x", "", -1, 1e9, True, [], {}, ["+x", "+y", "+z"])


@pytest.fixture(scope="module")
def known():
    return schemas()


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """Results with everything that is ever written: a whole body, its pictures."""
    folder = tmp_path_factory.mktemp("schema")
    session, out = str(folder / "session"), str(folder / "results")
    assert run(["simulate", "--out", session, "--runs", "1", "--seed", "5", "--body", "--quiet"]) == 0
    assert run(["analyse", session, "--out", out, "--figures", "--quiet"]) == 0
    return folder / "results"


def rows(table):
    """A table as programs read it: one object a row, null where empty."""
    plain = table.astype(object).where(table.notna(), None)
    return json.loads(json.dumps(plain.to_dict("records"), default=lambda value: value.item()))


def read(path):
    return rows(pd.read_csv(path, keep_default_na=False, na_values=[""]))


def valid(schema, instance):
    return jsonschema.Draft202012Validator(schema).is_valid(instance)


def test_every_schema_is_one(known):
    assert list(known) == ["session", "pushes", "runs", "symmetry", "segments", "figure"]
    for schema in known.values():
        jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.slow
def test_everything_that_is_written_is_as_told(known, results):
    tables = {path.name: read(path) for path in sorted(results.glob("*.csv"))}
    assert {"pushes.csv", "runs.csv", "symmetry.csv", "segments.csv"} < set(tables)
    assert sum(name.startswith("figure-") for name in tables) > 5
    for name, table in tables.items():
        told = known["figure" if name.startswith("figure-") else name.removesuffix(".csv")]
        assert table
        jsonschema.validate(table, told, cls=jsonschema.Draft202012Validator)


@pytest.mark.slow
def test_columns_are_told_in_their_order_and_those_of_gates_by_their_pattern(known, results):
    for name in ("pushes", "symmetry", "segments"):
        assert columns(results, name) == list(known[name]["items"]["properties"])
    beyond = set(columns(results, "runs")) - set(known["runs"]["items"]["properties"])
    assert {"split_1_s", "gate_1_speed_m_s", "gate_2_speed_m_s_sd"} <= beyond


def columns(folder, name):
    return (folder / f"{name}.csv").read_text(encoding="utf-8").split("\n", 1)[0].split(",")


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("pushes", {"side": "middle"}),
        ("pushes", {"side": None}),
        ("pushes", {"push": -1}),
        ("pushes", {"push": 1.5}),
        ("pushes", {"flags": "gap;invented"}),
        ("pushes", {"phase": "all"}),
        ("pushes", {"contact_time_s": "0.3"}),
        ("pushes", {"invented": 1.0}),
        ("runs", {"usable": "yes"}),
        ("runs", {"split_x_s": 1.0}),
        ("runs", {"clock": "left boot"}),
        ("symmetry", {"verdict": "fine"}),
    ],
)
def test_what_is_not_right_is_refused(known, result, name, change):
    table = {"pushes": result.pushes, "runs": result.runs_table, "symmetry": result.symmetry}[name]
    columns = known[name]["items"]["properties"]
    kinds = {"usable": True, "push": 1, "side": "left", "run": "run-1", "phase": "later", "metric": "m"}
    whole = {column: kinds.get(column) for column in columns} | {
        column: value for column, value in rows(table)[0].items() if column in columns
    }
    whole["flags" if name == "pushes" else "run"] = "gap" if name == "pushes" else whole.get("run")
    whole = {column: value for column, value in whole.items() if column in columns}
    assert valid(known[name], [whole])
    assert not valid(known[name], [whole | change])
    for column in columns:
        assert not valid(known[name], [{key: value for key, value in whole.items() if key != column}])


def content(text):
    """A session file as JSON has it."""
    return json.loads(json.dumps(tomllib.loads(text), default=str))


def leaves(part, *path):
    """Every place in nested data."""
    if path:
        yield path
    entries = part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ()
    for key, value in entries:
        yield from leaves(value, *path, key)


def put(whole, path, value):
    changed = copy.deepcopy(whole)
    part = changed
    for key in path[:-1]:
        part = part[key]
    if value is None:
        del part[path[-1]]
    else:
        part[path[-1]] = value
    return changed


def test_the_schema_and_the_reader_agree_on_session_files(known, tmp_path):
    """Whatever is changed: what is read is valid, and what is valid is of the types that are read."""
    toml = tomllib.loads(FULL)
    assert valid(known["session"], content(FULL))
    assert valid(known["session"], content((DEMO / "session.toml").read_text(encoding="utf-8")))
    outcomes = set()
    for path in leaves(toml):
        for value in (*ODD, None):
            changed = tuples(put(toml, path, value))
            instance = json.loads(json.dumps(changed, default=str))
            said = valid(known["session"], instance)
            try:
                declared(changed, tmp_path, "session.toml")
                accepted = True
            except FileFormatError:
                accepted = False
            try:
                Session.model_validate({**changed, "folder": tmp_path}, strict=True)
                typed = True
            except ValidationError:
                typed = False
            dated = path == ("date",)  # a text is no date of TOML, but JSON has no other
            assert said or not accepted, (path, value)
            assert typed or dated or not said, (path, value)
            outcomes.add((said, accepted))
    assert outcomes == {(True, True), (True, False), (False, False)}


def test_no_key_beyond_those_of_the_file_is_valid(known):
    toml = content(FULL)
    for change in ({"folder": "."}, {"name": "N.N."}, {"athlete": "N. N."}, {"runs": []}, {"date": 3}):
        assert not valid(known["session"], toml | change)


def test_rules_beyond_types_are_told(known):
    for rule in RULES:
        assert rule in known["session"]["description"]


def test_the_command_prints_one_or_all(capsys, known):
    assert run(["schema", "segments"]) == 0
    assert json.loads(capsys.readouterr().out) == known["segments"]
    assert run(["schema", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == known
    assert run(["schema", "--quiet"]) == 0
    assert capsys.readouterr().out == ""
    assert run(["schema", "pushes.csv"]) == 2
    assert "found 'pushes.csv', wanted one of session, pushes" in capsys.readouterr().err
