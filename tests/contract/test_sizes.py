"""Small files and small functions: what fits on a screen gets read."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "imustride"
FILES = sorted(PACKAGE.rglob("*.py"))
LONGEST_FILE = 400
LONGEST_BODY = 40


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function after its docstring."""
    body = function.body[1:] if ast.get_docstring(function, clean=False) is not None else function.body
    return body[-1].end_lineno - body[0].lineno + 1 if body else 0


def long_functions(source: str) -> list[str]:
    """Name, line and length of every function with too long a body."""
    functions = [
        n for n in ast.walk(ast.parse(source)) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    return [
        f"{f.name} (line {f.lineno}): {body_lines(f)} lines"
        for f in functions
        if body_lines(f) > LONGEST_BODY
    ]


def test_the_package_is_found():
    assert PACKAGE / "cli" / "__init__.py" in FILES


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_files_and_functions_are_small(path):
    source = path.read_text(encoding="utf-8")
    assert len(source.splitlines()) <= LONGEST_FILE
    assert long_functions(source) == []


def test_a_body_is_counted_after_its_docstring():
    body = "\n".join(["    x = 1"] * LONGEST_BODY)
    assert long_functions(f'def f():\n    """Say.\n\n    More.\n    """\n{body}\n') == []
    assert long_functions(f"def f():\n    y = 0\n{body}\n") == ["f (line 1): 41 lines"]
