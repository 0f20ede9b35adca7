"""Forks instead of processes that load a library anew: a hundred times as many files of C3D or Parquet in the same time."""

import importlib
import io
import os
import signal
import subprocess
import sys
from pathlib import Path
from threading import Timer

# Ends before the fuzzer loses patience. A damaged count can keep a library busy for as long as it may.
MOST_S = 0.25
FAULTS = (signal.SIGSEGV, signal.SIGABRT, signal.SIGBUS, signal.SIGFPE, signal.SIGILL, signal.SIGXCPU)


class Forks:
    """Stands where `imustride.loaders.apart` has the module subprocess, with a library loaded before all forks."""

    DEVNULL, PIPE = subprocess.DEVNULL, subprocess.PIPE

    def __init__(self, library):
        from imustride.loaders import apart_child

        importlib.import_module(library)
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
        apart_child.MOST_BYTES += pages * os.sysconf("SC_PAGE_SIZE")  # what is loaded is not the file's
        self.main = apart_child.main

    def Popen(self, command, *, stderr, **_):  # noqa: N802 - the module's own name
        """Do as the process would that the command names."""
        read, write = os.pipe()
        child = os.fork()
        if child == 0:
            self.end(command[3:], write, stderr.fileno())
        os.close(write)
        return Fork(child, os.fdopen(read, "rb"))

    def end(self, arguments, out, said):
        """Be the child, without the fuzzer's handlers of faults, and end."""
        status = 1
        try:
            for number in FAULTS:
                signal.signal(number, signal.SIG_DFL)
            os.dup2(out, 1)
            os.dup2(said, 2)
            sys.stdout, sys.stderr = (
                io.TextIOWrapper(io.FileIO(number, "w", closefd=False)) for number in (1, 2)
            )
            status = self.main(arguments)
            sys.stderr.flush()
        finally:
            os._exit(status)


class Fork:
    """What `subprocess.Popen` gives."""

    def __init__(self, child, stdout):
        self.child, self.stdout, self.status = child, stdout, None
        self.late = Timer(MOST_S, self.kill)
        self.late.start()

    def kill(self):
        """End it, if it runs."""
        if self.status is None:
            os.kill(self.child, signal.SIGKILL)

    def wait(self):
        """Wait for its end; give the status."""
        if self.status is None:
            status = os.waitpid(self.child, 0)[1]
            self.late.cancel()
            self.late.join()
            self.status = os.waitstatus_to_exitcode(status)
        return self.status
