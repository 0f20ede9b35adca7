"""Print ``imustride/report/accuracy.toml``: what the page says of the accuracy of single pushes (simulated).

python -m tests.benchmark.page_accuracy --seeds 16000:16040
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmark.accuracy import one

COLUMNS = {
    "contact_time_s": "s",
    "stride_time_s": "s",
    "push_off_angular_velocity_deg_s": "deg/s",
    "edge_angle_deg": "deg",
}
CONDITIONS = {
    "good": "200 to 1000 Hz, calibrated sensors",
    "real_ice": "all difficulties of ice, boot and logger at once",
}
HEAD = """\
# How exact the columns are on simulated runs; printed on the page under the heading "simulated".
# One table a column: [[column]] with name, unit, bias, sd, n (true pushes), conditions.
# Made by tests/benchmark/page_accuracy.py --seeds {seeds}, both generators.
"""


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="16000:16040")
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    first, last = map(int, given.seeds.split(":"))
    parts = [HEAD.format(seeds=given.seeds)]
    for grade, conditions in CONDITIONS.items():
        tasks = [(which, grade, seed) for which in ("first", "second") for seed in range(first, last)]
        with ProcessPoolExecutor(given.workers) as pool:
            table = pd.concat(
                [result["table"] for result in pool.map(one, tasks, chunksize=2)], ignore_index=True
            )
        for name, unit in COLUMNS.items():
            error = (table[name] - table[f"true_{name}"]).astype(float).dropna()
            parts.append(
                f'[[column]]\nname = "{name}"\nunit = "{unit}"\nbias = {error.mean():.5f}\nsd = {error.std():.5f}\n'
                f'n = {len(table)}\nconditions = "{conditions}"\n'
            )
    print("\n".join(parts), end="")


if __name__ == "__main__":
    main()
