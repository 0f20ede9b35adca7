"""``--pdf`` on a machine whose pango cannot be loaded: the renderer's own error, told in one line before any work."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

START = "import sys; from imustride.cli.boundary import run; sys.exit(run(sys.argv[1:]))"
DEMO = Path(__file__).parents[2] / "recordings" / "demo"


@pytest.mark.skipif(sys.platform != "linux", reason="how libraries are found differs between systems")
@pytest.mark.parametrize("library", ["libpango-1.0.so.0", "libpangoft2-1.0.so.0"])
def test_a_library_that_cannot_be_loaded_is_one_line(tmp_path, library, lacks):
    try:
        import weasyprint  # noqa: F401, PLC0415
    except (ImportError, OSError) as error:
        lacks(f"no weasyprint that works found ({error}); install the extra pdf and pango")
    (tmp_path / library).write_bytes(b"")  # found before the system's own, and no library
    out = tmp_path / "out"
    done = subprocess.run(
        [sys.executable, "-c", START, "analyse", DEMO, "--out", out, "--pdf"],
        env={**os.environ, "LD_LIBRARY_PATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "--pdf: weasyprint lacks a library of the system" in done.stderr
    assert "install pango" in done.stderr
    assert not out.exists()
