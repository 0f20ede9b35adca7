"""Many jobs on the workers of a Dask scheduler that is there already."""

from __future__ import annotations

import logging
import threading
from typing import TYPE_CHECKING, Any, TypeVar

from imustride.errors import SettingsError
from imustride.many.lost import Lost, unexpected

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from imustride.many.lost import Done, Work

Job = TypeVar("Job")
Result = TypeVar("Result")
CONNECT_S = 10  # to a scheduler, and to wait for its first worker (common practice, no source)
_alone = threading.Lock()


def on_cluster(
    work: Work[Job, Result],
    jobs: Sequence[Job],
    address: str,
    done: Done[Result],
    program: Callable[[], object],
) -> None:
    """Put a function to each job on the workers of a cluster.

    Parameters
    ----------
    work : callable
        A function that the workers find by its name.
    jobs : sequence
        Small, with absolute paths that mean the same on every worker.
    address : str
        Of the scheduler, such as ``tcp://rink:8786``.
    done : callable
        Called in this process as each job ends.
    program : callable
        Tells what a result depends on beside its job; a worker where it tells another thing than here does no work.

    Raises
    ------
    SettingsError
        If what talks to a scheduler is not installed.
    OSError
        If there is no scheduler at the address, or it has no worker.

    Notes
    -----
    When a worker is killed its jobs go to another, as often as the scheduler allows (three times, unless it is told otherwise); then
    the job is lost. On an interrupt what has not begun is taken back; what a worker is doing it finishes.
    """
    client = connected(address)
    try:
        import distributed

        in_turn: Any = distributed.as_completed  # it has no types
        here = program()
        places = {
            client.submit(_on_worker, work, job, program, here, pure=False): index
            for index, job in enumerate(jobs)
        }
        try:
            for future in in_turn(list(places), loop=client.loop):
                done(places.pop(future), _result(future))
        finally:
            client.cancel(list(places))
    finally:
        client.close()


def connected(address: str) -> Any:
    """Return a client of the scheduler once it has a worker.

    Raises
    ------
    SettingsError
        If what talks to a scheduler is not installed.
    OSError
        If there is no scheduler at the address, or it has no worker.
    """
    try:
        import distributed
    except ModuleNotFoundError as error:
        message = f"--cluster needs {error.name}, which is not installed; python -m pip install 'imustride[cluster]'"
        raise SettingsError(message) from error
    client_of: Any = distributed.Client  # it has no types
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what matters of it is told by us
    try:
        client: Any = client_of(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        message = f"--cluster {address}: found no scheduler there, wanted the address of a running one, such as tcp://rink:8786; start it with `dask scheduler`"
        raise ConnectionError(message) from error
    try:
        client.wait_for_workers(1, timeout=CONNECT_S)
    except TimeoutError as error:
        client.close()
        message = f"--cluster {address}: found a scheduler without workers; start some with `dask worker {address} --nthreads 1`"
        raise ConnectionError(message) from error
    return client


def _on_worker(work: Callable[[Any], Any], job: Any, program: Callable[[], object], wanted: object) -> object:
    """Do one job where all is as on the computer that asked; one at a time, since pictures are not drawn in threads."""
    if program() != wanted:
        return Lost(
            "the worker has another version of this program or its libraries; install the same on all"
        )
    with _alone:
        return work(job)


def _result(future: Any) -> Any:
    from distributed.client import FutureCancelledError
    from distributed.scheduler import KilledWorker

    try:
        return future.result()
    except KilledWorker:
        return Lost("every worker that analysed it was killed; did they run out of memory?")
    except FutureCancelledError:
        return Lost("the scheduler went away; run the same command again to go on")
    except ModuleNotFoundError as error:
        return Lost(f"a worker has no {error.name}; install the same version of this program on all")
    except Exception as error:  # noqa: BLE001 - one job never stops the rest
        return Lost(unexpected(error))
