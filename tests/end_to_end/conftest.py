import shutil

import pytest

from imustride.cli.boundary import run


@pytest.fixture(scope="session")
def invented(tmp_path_factory):
    """Simulate a session of two runs, once; tests work on copies."""
    folder = tmp_path_factory.mktemp("invented") / "session"
    assert run(["simulate", "--out", str(folder), "--runs", "2", "--seed", "11", "--quiet"]) == 0
    return folder


@pytest.fixture
def session(invented, tmp_path):
    return shutil.copytree(invented, tmp_path / "session")


@pytest.fixture
def command(capsys):
    """Run the command line; give exit status, stdout and stderr."""

    def call(*arguments):
        capsys.readouterr()
        status = run([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return status, said.out, said.err

    return call
