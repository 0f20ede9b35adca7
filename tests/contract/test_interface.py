"""The Python interface: what it names is there, importing it is quick, and every block of the tour says what comes out."""

import ast
import doctest
import re
import subprocess
import sys
from pathlib import Path

import pytest

import imustride

ROOT = Path(__file__).parents[2]
TOUR = ROOT / "recordings" / "tour.md"
BLOCKS = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def sections():
    """Give name, first line and code of each section of the tour, with what the sections above it made."""
    text = TOUR.read_text(encoding="utf-8")
    return [(block[1], text[: block.start(1)].count("\n")) for block in BLOCKS.finditer(text)]


def test_the_tour_says_what_comes_out(monkeypatch):
    monkeypatch.chdir(ROOT)
    parser, said = doctest.DocTestParser(), []
    runner = doctest.DocTestRunner(verbose=False)
    made = {}
    for code, line in sections():
        test = parser.get_doctest(code, made, TOUR.name, str(TOUR), line)
        runner.run(test, out=said.append, clear_globs=False)
        made = test.globs
    assert not runner.summarize(verbose=False).failed, "".join(said)
    assert runner.tries > 50


def test_the_tour_shows_every_name():
    text = "".join(code for code, _ in sections()) + TOUR.read_text(encoding="utf-8")
    missing = [name for name in imustride.__all__ if f"imustride.{name}" not in text]
    assert missing == ["Gates", "__version__"]


@pytest.mark.parametrize("name", imustride.__all__)
def test_every_name_is_there(name):
    assert getattr(imustride, name) is getattr(imustride, name)
    assert name in dir(imustride)


def test_no_other_name_is_there():
    with pytest.raises(AttributeError, match="no attribute 'analyze'"):
        _ = imustride.analyze


def test_checkers_of_types_see_the_same_names_at_the_same_places():
    tree = ast.parse((ROOT / "imustride" / "__init__.pyi").read_text(encoding="utf-8"))
    told = {
        alias.asname: node.module
        for node in tree.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert told == {name: f"imustride.{home}" for name, home in imustride._HOME.items()}


def test_importing_loads_nothing_heavy():
    script = "import sys, imustride; print(sorted({name.partition('.')[0] for name in sys.modules} & set(sys.argv[1:])))"
    heavy = ["numpy", "pandas", "scipy", "h5py", "pydantic", "click", "matplotlib", "sqlalchemy"]
    done = subprocess.run(
        [sys.executable, "-c", script, *heavy], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout == "[]\n"
