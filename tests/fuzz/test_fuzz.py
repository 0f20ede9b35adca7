"""Every reader against mutated bytes for some seconds; `tests/benchmark/fuzz.py` does it for hours."""

import importlib.util
import os
import platform
import sys

import pytest

from tests.benchmark.fuzz import READERS, run

# All readers together take a minute where everything must be there, else some ten seconds.
SECONDS = 6 if os.environ.get("IMUSTRIDE_REQUIRE_ALL") == "1" else 1


@pytest.mark.slow
@pytest.mark.parametrize("name", READERS)
@pytest.mark.skipif(
    sys.platform != "linux" or platform.machine() != "x86_64" or sys.version_info >= (3, 14),
    reason="the fuzzer installs on Linux with an Intel processor and Python up to 3.13",
)
def test_no_mutated_bytes_break_a_reader(name, lacks):
    if importlib.util.find_spec("atheris") is None:
        lacks("no fuzzer: python -m pip install 'imustride[fuzz]'")
    figures, said = run(name, inputs=10**9, seconds=SECONDS, seed=None)
    assert figures["fault"] is None, said[-4000:]
    assert figures["inputs"] > 0
