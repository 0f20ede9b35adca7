"""Many jobs on this machine, in processes of their own."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections import deque
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import TYPE_CHECKING, TypeVar

from imustride.many.lost import Lost, unexpected

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from concurrent.futures import Future

    from imustride.many.lost import Done, Work

Job = TypeVar("Job")
Result = TypeVar("Result")
KILLED = "the process that analysed it was killed, twice; did it run out of memory? fewer --workers need less"


def on_this_machine(work: Work[Job, Result], jobs: Sequence[Job], workers: int, done: Done[Result]) -> None:
    """Put a function to each job, in so many processes.

    Parameters
    ----------
    work : callable
        A function that a new process finds by its name.
    jobs : sequence
        Small: they are copied to the processes. No more results are waited for than there are processes.
    workers : int
        1: everything in this process, one after the other.
    done : callable
        Called in this process as each job ends.

    Notes
    -----
    Processes are spawned, which holds on every system and copies no locks. When one is killed, the jobs under way are done
    once more, each in a process of its own: so the one to blame is found and the others stand. If this function is left
    by an interrupt, the processes are ended before it returns; if this process is killed, they end themselves.
    """
    if workers == 1 or len(jobs) == 1:
        for index, job in enumerate(jobs):
            done(index, work(job))
        return
    waiting = deque(enumerate(jobs))
    while waiting:
        for index, job in _pool(work, waiting, workers, done):
            if _pool(work, deque([(index, job)]), 1, done):
                done(index, Lost(KILLED))


def _pool(
    work: Work[Job, Result], waiting: deque[tuple[int, Job]], workers: int, done: Done[Result]
) -> list[tuple[int, Job]]:
    """Work through what waits until a process is killed; return the jobs that were under way then."""
    others = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), _begin)
    under_way: dict[Future[Result], tuple[int, Job]] = {}
    try:
        with contextlib.suppress(BrokenProcessPool):
            while waiting or under_way:
                while waiting and len(under_way) < workers:
                    with _interrupts_kept_from_children():
                        future = pool.submit(work, waiting[0][1])
                    under_way[future] = waiting.popleft()
                _collect(wait(under_way, return_when=FIRST_COMPLETED).done, under_way, done)
        pool.shutdown()
        ended = {one for one in under_way if not isinstance(one.exception(), BrokenProcessPool)}
        _collect(ended, under_way, done)  # beside the one that was killed
        return list(under_way.values())
    finally:
        for process in set(multiprocessing.active_children()) - others:
            process.terminate()
        pool.shutdown(cancel_futures=True)


def _collect(
    ended: set[Future[Result]], under_way: dict[Future[Result], tuple[int, Job]], done: Done[Result]
) -> None:
    for future in ended:
        result: Result | Lost
        try:
            result = future.result()
        except BrokenProcessPool:
            raise
        except Exception as error:  # noqa: BLE001 - one job never stops the rest
            result = Lost(unexpected(error))
        index, _ = under_way.pop(future)
        done(index, result)


@contextlib.contextmanager
def _interrupts_kept_from_children() -> Iterator[None]:
    """Let processes start with interrupts held back: on Ctrl-C they are ended from here, in order."""
    if not hasattr(signal, "pthread_sigmask"):  # elsewhere they ignore them once they have begun
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin() -> None:
    """Prepare a new process: interrupts are not for it, and it does not outlive the one that made it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
