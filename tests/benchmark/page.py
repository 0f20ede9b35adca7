"""Time the page of the demo session: what it adds to an analysis, start-up included.

    python -m tests.benchmark.page [--repeats 5]

Every repeat is a process of its own: start of the command line, imports of what draws and fills the page, the page
itself. The analysis between is not counted. Wanted: below 2 s. The PDF and the single pictures, made on request only,
stand beside it.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
WANTED_S = 2.0
SCRIPT = """
import json, sys, time
begin = time.perf_counter()
from imustride.cli.boundary import run
run(["analyse", "--help"])
start_up = time.perf_counter() - begin
from imustride import pipeline
from pathlib import Path
result = pipeline.analyse_session(Path(sys.argv[1]))
def timed(make):
    begin = time.perf_counter()
    size = len(make())
    return time.perf_counter() - begin, size
begin = time.perf_counter()
from imustride.report.files import Page, page_files
from imustride.report.pdf import pdf_page
page, size = timed(lambda: page_files(result, Page())["summary.html"].encode())
page = time.perf_counter() - begin
text = page_files(result, Page())["summary.html"]
figures, _ = timed(lambda: page_files(result, Page(figures=True)))
pdf, pdf_size = timed(lambda: pdf_page(text, "A4"))
print(json.dumps({"start-up": start_up, "page": page, "PDF": pdf, "all pictures as files": figures,
                  "page_kb": size / 1000, "pdf_kb": pdf_size / 1000}))
"""


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=5)
    repeats = parser.parse_args().repeats
    command = [sys.executable, "-c", SCRIPT, str(ROOT / "recordings" / "demo")]
    found = []
    for _ in range(repeats):
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
        found.append(json.loads(done.stdout.splitlines()[-1]))
    print(
        f"demo session, {repeats} processes: median and longest; page {found[0]['page_kb']:.0f} kB, PDF {found[0]['pdf_kb']:.0f} kB"
    )
    for name in ("start-up", "page", "PDF", "all pictures as files"):
        times = [one[name] for one in found]
        print(f"{name}: {statistics.median(times):.2f} s, {max(times):.2f} s")
    both = [one["start-up"] + one["page"] for one in found]
    print(f"start-up and page: {statistics.median(both):.2f} s, {max(both):.2f} s; wanted {WANTED_S:.0f} s")


if __name__ == "__main__":
    main()
