"""TOML by mail: parsed in bounded time and depth, or refused as no TOML."""

import time
import tomllib

import pytest

from imustride.calibration import read_calibration
from imustride.errors import CalibrationError, FileFormatError
from imustride.preparing.kit import read_kit
from imustride.session import read_session
from imustride.toml_text import parse_toml

HOSTILE = {
    "nested arrays": "a = " + "[" * 100_000,
    "closed nested arrays": "a = " + "[" * 400 + "]" * 400,
    "nested tables": "a = " + "{a = " * 300 + "1" + "}" * 300,
    "a long dotted key": ".".join("a" * 300_000) + " = 1",
    "dotted keys of the longest line": "\n".join("a." * 4990 + f"b{n} = 1" for n in range(90)),
    "dotted keys, line by line": "\n".join("a." * 150 + f"b{n} = 1" for n in range(3000)),
    "a deep header": "[" + ".".join("a" * 4000) + "]\n",
    "digits without end": "a = " + "1" * 9000,
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_toml_is_refused_soon(kind):
    begin = time.perf_counter()
    with pytest.raises(tomllib.TOMLDecodeError):
        parse_toml(HOSTILE[kind])
    assert time.perf_counter() - begin < 10


def test_sound_toml_is_as_the_standard_parser_reads_it():
    text = 'a = [[1, 2], [3.5, inf]]\nb = { c = "x" }\n[d.e]\nf = 2026-10-03\n'
    assert parse_toml(text) == tomllib.loads(text)


@pytest.mark.parametrize("kind", HOSTILE)
@pytest.mark.parametrize("reader", [read_session, read_kit, read_calibration])
def test_every_reader_refuses_it_in_one_line(tmp_path, kind, reader):
    path = tmp_path / "session.toml"
    path.write_text(HOSTILE[kind])
    with pytest.raises((FileFormatError, CalibrationError)) as caught:
        reader(path)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 500
