"""Every reader against mutated bytes for some seconds; `tests/benchmark/fuzz.py` does it for hours."""

import importlib.util
import platform
import sys

import pytest

from tests.benchmark.fuzz import READERS, run

# The same inputs every time: a new fault is looked for by the long command, an old one must not come back.
INPUTS, SECONDS, SEED = 1000, 6, 1


@pytest.mark.slow
@pytest.mark.parametrize("name", READERS)
@pytest.mark.skipif(
    sys.platform != "linux" or platform.machine() != "x86_64" or sys.version_info >= (3, 14),
    reason="the fuzzer installs on Linux with an Intel processor and Python up to 3.13",
)
def test_no_mutated_bytes_break_a_reader(name, lacks):
    if importlib.util.find_spec("atheris") is None:
        lacks("no fuzzer: python -m pip install 'imustride[fuzz]'")
    figures, said = run(name, inputs=INPUTS, seconds=SECONDS, seed=SEED)
    assert figures["fault"] is None, said[-4000:]
    assert figures["inputs"] > 0
