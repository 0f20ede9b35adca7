"""The layer rule holds, and the check of it would notice a breach."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
COMMAND = [
    sys.executable,
    "-c",
    "from importlinter.cli import lint_imports_command as run; run()",
    "--no-cache",
]


def check(folder):
    """Run the import contracts on the package copy in `folder`; give exit status and output."""
    environment = os.environ | {"PYTHONPATH": str(folder)}
    done = subprocess.run(COMMAND, cwd=folder, env=environment, capture_output=True, text=True, check=False)
    return done.returncode, done.stdout + done.stderr


@pytest.fixture
def copy(tmp_path):
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    shutil.copytree(ROOT / "imustride", tmp_path / "imustride", ignore=shutil.ignore_patterns("__pycache__"))
    return tmp_path


def test_the_package_keeps_the_layer_rule(copy):
    status, output = check(copy)
    assert status == 0, output


@pytest.mark.parametrize(
    ("path", "line", "said"),
    [
        ("orientation/planted.py", "import imustride.report", "imustride.orientation"),
        ("metrics/planted.py", "import click", "click"),
        ("segmentation/planted.py", "import h5py", "h5py"),
        ("loaders/planted.py", "import vqf", "vqf"),
        ("metrics/planted.py", "import sqlalchemy", "sqlalchemy"),
        ("report/planted.py", "import distributed", "distributed"),
        ("exporting/planted.py", "import matplotlib.figure", "matplotlib"),
        ("cutting/planted.py", "import imustride.settings", "imustride.settings"),
        ("alignment/planted.py", "import imustride.simulation", "imustride.simulation"),
        ("recording.py", "import imustride.registry", "imustride.registry"),
        ("toolbox.py", "", "toolbox"),
    ],
)
def test_a_planted_breach_is_found(copy, path, line, said):
    planted = copy / "imustride" / path
    before = planted.read_text(encoding="utf-8") if planted.exists() else ""
    planted.write_text(before + f"\n{line}\n", encoding="utf-8")
    status, output = check(copy)
    assert status == 1
    assert said in output
