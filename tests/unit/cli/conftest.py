import sys
from types import ModuleType

import pytest

import imustride
from imustride.cli.boundary import run
from imustride.errors import FileFormatError
from imustride.settings import Settings


@pytest.fixture
def pipeline(monkeypatch, make_result):
    """Put a pipeline made by hand in the place of the real one: session names say how it ends."""
    stub = ModuleType("imustride.pipeline")
    stub.written = []
    stub.pages = []
    stub.listed = []
    stub.simulated = []
    stub.settings = []

    def analyse_session(folder, settings):
        stub.settings.append(settings)
        if folder.name.startswith("broken"):
            message = f"{folder}/session.toml: not found; name a session folder"
            raise FileFormatError(message)
        return make_result()

    stub.Settings = Settings
    stub.analyse_session = analyse_session

    def write_session(_, target, page):
        stub.written.append(target)
        stub.pages.append(page)

    stub.write_session = write_session
    stub.write_index = lambda lines, out, _: stub.listed.append((lines, out))
    stub.simulate = lambda out, runs, seed, body: stub.simulated.append((out, runs, seed, body))
    monkeypatch.setitem(sys.modules, "imustride.pipeline", stub)
    monkeypatch.setattr(imustride, "pipeline", stub, raising=False)
    return stub


@pytest.fixture
def command(capsys):
    """Run the command line; give exit status, stdout and stderr."""

    def call(*arguments):
        status = run([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return status, said.out, said.err

    return call
