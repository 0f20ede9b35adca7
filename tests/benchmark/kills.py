"""Results written over and over, killed at any moment: python -m tests.benchmark.kills [--kills 500] [--whole 50] [--seed 1]

A process writes one of two results into the same folder again and again, in turn, or (`--whole` of the kills) runs the
whole command `analyse` on one of two sessions; it is ended at a random moment, by SIGKILL or, every fourth time, by
SIGINT (Ctrl-C). Then the folder holds one of the two results, every file of it as its fingerprint says, already before
anything is repaired (counted: how often it was away until the next start); and after the next start nothing is left
beside it. Prints one line of JSON.
"""

import argparse
import dataclasses
import json
import os
import signal
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from imustride.cli.boundary import run
from imustride.errors import ImustrideError
from imustride.exporting import check_target, verify, write_results
from tests.conftest import hand_made_result

PROTOCOLS = ("sprint-one", "sprint-two")


def made():
    """Two results that differ in every table."""
    whole = hand_made_result()
    for number, protocol in enumerate(PROTOCOLS):
        session = whole.session.model_copy(update={"protocol": protocol})
        pushes = whole.pushes.assign(edge_angle_deg=whole.pushes["edge_angle_deg"] + number)
        yield dataclasses.replace(whole, session=session, pushes=pushes)


def sessions(folder):
    """Two invented sessions that differ in their label."""
    for protocol in PROTOCOLS:
        made_in = folder / protocol
        if run(["simulate", "--out", str(made_in), "--runs", "1", "--seed", "11", "--quiet"]) != 0:
            message = "no session could be simulated"
            raise RuntimeError(message)
        file = made_in / "session.toml"
        lines = file.read_text(encoding="utf-8").splitlines()
        file.write_text(
            "\n".join(f'protocol = "{protocol}"' if line.startswith("protocol") else line for line in lines),
            encoding="utf-8",
        )
        yield made_in


def work(out, results, told):
    """Write each result in turn, and tell each that is done, until ended."""
    while True:
        for result in results:
            if isinstance(result, Path):
                if run(["analyse", str(result), "--out", str(out), "--quiet"]) != 0:
                    return  # stopped by Ctrl-C
            else:
                write_results(result, out, {"summary.html": "x" * 100_000})
            os.write(told, b".")


def ended(out, results, wait_s, how):
    """Let a process work for a time behind its first report, end it; return how often it had reported."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        try:
            work(out, results, write)
        finally:
            os._exit(1)
    os.close(write)
    with os.fdopen(read, "rb", buffering=0) as stream:
        first = stream.read(1)
        time.sleep(wait_s)
        # An interrupt that falls into a library's callback is lost: people press the keys again.
        while os.waitpid(child, os.WNOHANG)[0] == 0:
            os.kill(child, how)
            time.sleep(0.02 if how == signal.SIGKILL else 0.3)
        return len(first + stream.read())


def held(out):
    """Protocol of the result that a folder holds, each file as its fingerprint says; or what is wrong."""
    try:
        return verify(out)["session"]["protocol"]
    except (ImustrideError, OSError, KeyError) as error:
        return repr(error)


def kill_often(kills, folder, results, seed, seen):
    """End the writer at random moments and look, again and again; add what was seen."""
    rng = np.random.default_rng(seed)
    out = folder / "results"
    pace_s = 0.3
    for number in range(kills):
        begin = time.perf_counter()
        wait_s = float(rng.uniform(0, 2.2 * pace_s))
        reports = ended(out, results, wait_s, signal.SIGINT if number % 4 == 3 else signal.SIGKILL)
        pace_s = 0.8 * pace_s + 0.2 * (time.perf_counter() - begin) / max(reports, 1)
        seen["kills"] += 1
        seen["written"] += reports
        seen["while writing"] += any(path.name.startswith(".results.") for path in folder.iterdir())
        if not out.exists():
            seen["away until the next start"] += 1
        elif held(out) not in PROTOCOLS:
            seen["neither"].append(held(out))
        check_target(out)
        if held(out) not in PROTOCOLS:
            seen["neither after the next start"].append(held(out))
        seen["left beside"] += sum(path.name.startswith(".results.") for path in folder.iterdir())


def nothing_seen():
    """What is counted."""
    return {
        "kills": 0, "written": 0, "while writing": 0, "away until the next start": 0, "left beside": 0,
        "neither": [], "neither after the next start": [],
    }  # fmt: skip


def main():
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--whole", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    seen = nothing_seen()
    with tempfile.TemporaryDirectory() as folder:
        kill_often(chosen.kills - chosen.whole, Path(folder), list(made()), chosen.seed, seen)
    with tempfile.TemporaryDirectory() as folder:
        if chosen.whole:
            kill_often(chosen.whole, Path(folder), list(sessions(Path(folder))), chosen.seed, seen)
    print(json.dumps(seen))
    return 1 if seen["neither"] or seen["neither after the next start"] or seen["left beside"] else 0


if __name__ == "__main__":
    sys.exit(main())
