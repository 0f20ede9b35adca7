"""Jobs for processes of their own: found there by name, as jobs must be."""

import os
import signal
import time
from pathlib import Path


def double(number):
    """Return twice the number."""
    return 2 * number


def odd_ones_fail(number):
    """Return the number if it is even."""
    if number % 2:
        message = f"{number} is odd"
        raise ValueError(message)
    return number


def die_at(job):
    """Kill this process where the job says so: always, or the first time only, which a file remembers."""
    number, deadly, mark = job
    if number == deadly and not (mark and Path(mark).exists()):
        if mark:
            Path(mark).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def note_and_wait(folder):
    """Leave a file named after this process, then wait for longer than anybody does."""
    (Path(folder) / str(os.getpid())).touch()
    time.sleep(600)
