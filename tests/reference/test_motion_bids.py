"""Motion-BIDS against the standard's own validator (PyPI bids-validator-deno, works without network)."""

import json
import shutil
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

from imustride.cli.boundary import run
from imustride.errors import FileFormatError
from imustride.loaders import load, open_session

DEMO = Path(__file__).parents[2] / "recordings" / "demo"


@pytest.fixture(scope="module")
def exported(tmp_path_factory):
    out = tmp_path_factory.mktemp("bids") / "demo"
    assert run(["export", "bids", str(DEMO), str(out), "--quiet"]) == 0
    return out


@pytest.fixture
def dataset(exported, tmp_path):
    return shutil.copytree(exported, tmp_path / "demo")


@pytest.fixture(scope="module")
def errors(lacks):
    """Give the codes of the errors that the validator finds in a dataset."""
    if find_spec("bids_validator_deno") is None:
        lacks("the validator of BIDS is not installed: python -m pip install bids-validator-deno")
    validator = Path(sys.executable).with_name("bids-validator-deno")

    def validate(folder):
        done = subprocess.run(
            [validator, str(folder), "--format", "json", "--max-rows", "-1"],
            capture_output=True,
            timeout=120,
            check=False,
        )
        issues = json.loads(done.stdout)["issues"]["issues"]
        assert issues, "it always has something to recommend: did it look at all?"
        return sorted(issue["code"] for issue in issues if issue["severity"] == "error")

    return validate


def of_left(dataset, ending):
    return next(dataset.glob(f"sub-*/ses-*/motion/*leftskate_run-02_{ending}"))


def test_a_session_is_valid(errors, exported):
    assert errors(exported) == []
    assert errors(exported / "derivatives" / "imustride") == []


def test_a_session_of_the_whole_body_is_valid(errors, tmp_path):
    assert (
        run(["simulate", "--out", str(tmp_path / "s"), "--runs", "1", "--seed", "4", "--body", "--quiet"])
        == 0
    )
    assert run(["export", "bids", str(tmp_path / "s"), str(tmp_path / "bids"), "--quiet"]) == 0
    assert len(list(tmp_path.glob("bids/sub-*/ses-*/motion/*_task-movementall_*_motion.tsv"))) == 11
    assert errors(tmp_path / "bids") == []


def test_the_validator_sees_planted_faults(errors, dataset):
    of_left(dataset, "motion.json").unlink()
    assert errors(dataset) != []


def left_of_run_2(dataset):
    session = open_session(dataset)
    return load(session, session.runs[1], "left_skate")


def remove_channels(dataset):
    of_left(dataset, "channels.tsv").unlink()
    of_left(dataset, "channels.json").unlink()  # which the validator would miss its table for


def add_header(dataset):
    path = of_left(dataset, "motion.tsv")
    path.write_text("\t".join("abcdefg") + "\n" + path.read_text())


def put_text(dataset):
    path = of_left(dataset, "motion.tsv")
    path.write_text(path.read_text().replace("\t", "\tfast\t", 1).replace("fast\t", "fast", 1))


def change_units(dataset):
    path = of_left(dataset, "channels.tsv")
    path.write_text(path.read_text().replace("m/s^2", "bananas"))


@pytest.mark.parametrize(
    ("plant", "said"),
    [
        (remove_channels, "no such file; wanted names and units"),
        (add_header, "line 1 holds text ('a'), a header"),
        (put_text, "found 'fast"),
        (change_units, "units: found 'bananas'"),
    ],
)
def test_what_the_validator_does_not_see_we_do(errors, dataset, plant, said):
    plant(dataset)
    assert errors(dataset) == []
    with pytest.raises(FileFormatError, match="left") as caught:
        left_of_run_2(dataset)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)
