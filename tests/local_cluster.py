"""A cluster of two workers in processes of their own, on this machine, until its input ends.

    python tests/local_cluster.py

Prints its address; for each line of input kills a worker that has something to do, and prints how much that was.
"""

import os
import signal
import sys
import time

from distributed import Client, LocalCluster


def main() -> None:
    """Run the cluster."""
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster,
        Client(cluster) as client,
    ):
        pids = client.run(os.getpid)
        say(cluster.scheduler_address)
        for _ in sys.stdin:
            say(kill_a_busy_one(client, pids))


def kill_a_busy_one(client: Client, pids: dict[str, int]) -> int:
    """Kill a worker at its work; return how many jobs it had."""
    while True:
        busy = {worker: len(jobs) for worker, jobs in client.processing().items() if jobs and worker in pids}
        if busy:
            worker = max(busy, key=lambda one: busy[one])
            os.kill(pids[worker], signal.SIGKILL)
            return busy[worker]
        time.sleep(0.01)


def say(what: object) -> None:
    """Print a line at once."""
    print(what, flush=True)  # noqa: T201 - it is read by the test


if __name__ == "__main__":
    main()
