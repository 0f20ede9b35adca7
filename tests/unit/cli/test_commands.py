import json
import subprocess
import sys

import click
import pytest

from imustride import __version__, inspection
from imustride.cli import calibrate
from imustride.cli.boundary import commands
from imustride.cli.talk import columns
from imustride.inspection.report import Finding, SensorReport


def leaves(group, *words):
    """Every command below a group, by its words."""
    for name in sorted(group.list_commands(None)):
        command = group.get_command(None, name)
        if isinstance(command, click.Group):
            yield from leaves(command, *words, name)
        else:
            yield " ".join((*words, name))


LEAVES = list(leaves(commands))


@pytest.mark.parametrize("flag", ["-h", "--help"])
@pytest.mark.parametrize("name", LEAVES)
def test_every_command_has_help_with_an_example_and_the_common_options(command, name, flag):
    status, out, _ = command(*name.split(), flag)
    assert status == 0
    assert f"Example: imustride {name}" in out
    for option in ("--json", "--quiet", "--debug"):
        assert option in out


@pytest.mark.parametrize(
    "name",
    [
        "analyse",
        "simulate",
        "calibrate positions",
        "calibrate turns",
        "export bids",
        "export c3d",
        "export parquet",
    ],
)
def test_every_command_that_writes_can_run_dry(command, name):
    assert "--dry-run" in command(*name.split(), "--help")[1]


def test_a_group_lists_its_commands_and_refuses_others(command):
    status, out, _ = command("calibrate", "--help")
    assert status == 0
    assert all(name in out for name in calibrate.COMMANDS)
    assert command("calibrate", "guessing")[0] == 2


def test_version(command):
    assert command("--version") == (0, f"imustride, version {__version__}\n", "")


@pytest.mark.parametrize(
    "arguments",
    [["analyze"], ["analyse"], ["analyse", "demo"], ["metrics", "--nothing"], ["simulate", "--out"]],
)
def test_wrong_usage(command, arguments):
    status, out, err = command(*arguments)
    assert (status, out) == (2, "")
    assert "Error: " in err


def test_metrics_are_listed(command):
    listed = json.loads(command("metrics", "--json")[1])
    shown = command("metrics")[1]
    for metric in listed:
        assert f"{metric['name']} [{metric['unit'] or '1'}], definition {metric['number']}" in shown
        assert metric["definition"] in shown
        assert f"{metric['definition']}\n    sensors: {' and '.join(metric['places'])}\n" in shown
    places = {metric["name"]: metric["places"] for metric in listed}
    assert places["contact_time_s"] == ["skate"]
    assert places["knee_flexion_max_deg"] == ["shank", "thigh"]


GOOD = SensorReport("left.csv", run="run-1", place="left_skate", rate_hz=500.0, bandwidth_hz=float("nan"))
ODD = SensorReport("right.csv", findings=(Finding("warning", "this looks like rad/s"),))
WRONG = SensorReport("right.csv", findings=(Finding("error", "time runs backwards"),))
LOST = SensorReport("right.csv", problem="right.csv: not found")


@pytest.mark.parametrize(("second", "status"), [(GOOD, 0), (ODD, 0), (WRONG, 3), (LOST, 3)])
def test_inspect(monkeypatch, command, second, status):
    monkeypatch.setattr(inspection, "inspect", lambda _: (GOOD, second))
    got, out, _ = command("inspect", "demo")
    assert got == status
    assert out.startswith("run-1 left_skate: left.csv\n")
    for finding in second.findings:
        assert finding.text in out
    told = json.loads(command("inspect", "demo", "--json")[1])
    assert told[0]["rate_hz"] == 500.0
    assert told[0]["bandwidth_hz"] is None
    assert told[1]["problem"] == second.problem


def test_simulate(pipeline, command, tmp_path):
    status, out, err = command("simulate", "--out", tmp_path / "new", "--runs", 2, "--seed", 5)
    assert (status, out, err) == (0, f"session: {tmp_path / 'new'}\n", "simulating 2 runs\n")
    assert pipeline.simulated == [(tmp_path / "new", 2, 5, False)]


def test_simulate_the_whole_body(pipeline, command, tmp_path):
    assert command("simulate", "--out", tmp_path / "new", "--body")[0] == 0
    assert pipeline.simulated == [(tmp_path / "new", 4, 1, True)]


def test_simulate_dry(pipeline, command, tmp_path):
    status, out, _ = command("simulate", "--out", tmp_path / "new", "--dry-run")
    assert (status, out) == (0, f"would write the session {tmp_path / 'new'}\n")
    assert pipeline.simulated == []


def test_simulate_never_writes_among_other_files(pipeline, command, tmp_path):
    (tmp_path / "thesis.txt").write_text("mine", encoding="utf-8")
    status, _, err = command("simulate", "--out", tmp_path)
    assert status == 2
    assert err.startswith(f"imustride: {tmp_path}: found files there")
    assert pipeline.simulated == []


def test_columns_are_aligned():
    assert columns([("a", "10"), ("bbb", "9")], right=(1,)) == ["a    10", "bbb   9"]


def test_help_imports_nothing_heavy():
    script = (
        "import sys\n"
        "from imustride.cli.boundary import run\n"
        "run(['analyse', '--help'])\n"
        "heavy = {'numpy', 'scipy', 'pandas', 'h5py', 'matplotlib', 'pydantic', 'jinja2', 'ahrs', 'vqf'}\n"
        "print('heavy:', sorted(heavy & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "heavy: []"


def test_a_reader_that_goes_away_is_no_traceback():
    script = "from imustride.cli import main; main(['--help'] )"
    child = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    child.stdout.close()
    said = child.stderr.read().decode()
    child.stderr.close()
    child.wait()
    assert "Traceback" not in said
