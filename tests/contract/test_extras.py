"""Every module is imported without what only an extra brings: libraries are imported where they are used."""

import subprocess
import sys

SCRIPT = """
import pkgutil, sys
from importlib import import_module
sys.modules |= dict.fromkeys(("ezc3d", "pyarrow", "weasyprint", "distributed", "psycopg", "atheris"))
import imustride
names = [one.name for one in pkgutil.walk_packages(imustride.__path__, "imustride.")]
for name in names:
    import_module(name)
print(len(names))
"""


def test_no_module_needs_an_extra_to_be_imported():
    done = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 200
