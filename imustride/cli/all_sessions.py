"""Many sessions to results: here or on a cluster, told in the order in which they were named."""

from __future__ import annotations

import os
import re
import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from imustride.cli.one_session import Outcome, analyse_one, failed
from imustride.cli.progress import progress_bar

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.cli.one_session import Job
    from imustride.cli.progress import Bar
    from imustride.cli.talk import Talk
    from imustride.many import Lost

_LEFTOVER = re.compile(r"\.(.+)\.(?:partial|replaced)-\d+-[0-9a-f]{8}")


def analyse_all(
    talk: Talk, jobs: Sequence[Job], workers: int, cluster: str | None, *, progress: bool
) -> list[Outcome]:
    """Analyse sessions and tell of each.

    Parameters
    ----------
    talk : Talk
    jobs : sequence of Job
    workers : int
        Processes on this machine.
    cluster : str or None
        Address of the scheduler that has them done instead.
    progress : bool
        Whether a bar is wanted where there is no terminal to draw it on; on one it is drawn for several sessions.

    Returns
    -------
    list of Outcome
        In the order of the jobs.
    """
    shown = not talk.quiet and (progress or (len(jobs) > 1 and sys.stderr.isatty()))
    with progress_bar(len(jobs), shown=shown) as bar:
        telling = _Telling(talk, jobs, bar, on_cluster=cluster is not None)
        try:
            if cluster is None:
                from imustride.many import on_this_machine

                on_this_machine(analyse_one, jobs, workers, telling.done)
            else:
                from imustride.exporting.made_with import made_with
                from imustride.many.cluster import on_cluster

                anywhere = [
                    replace(job, session=job.session.absolute(), target=job.target.absolute()) for job in jobs
                ]
                on_cluster(analyse_one, anywhere, cluster, telling.done, made_with)
        finally:
            _tidy(jobs)
    return [telling.outcomes[index] for index in range(len(jobs))]


class _Telling:
    """Tells of each session once those named before it are told, and moves the bar at once."""

    def __init__(self, talk: Talk, jobs: Sequence[Job], bar: Bar, *, on_cluster: bool) -> None:
        self.outcomes: dict[int, Outcome] = {}
        self._talk, self._jobs, self._bar, self._on_cluster = talk, jobs, bar, on_cluster
        self._told = 0
        if not bar.shown:
            talk.progress(f"analysing {jobs[0].session if len(jobs) == 1 else f'{len(jobs)} sessions'}")

    def done(self, index: int, outcome: Outcome | Lost) -> None:
        """Take the outcome of a session."""
        job = self._jobs[index]
        if not isinstance(outcome, Outcome):
            outcome = failed(job, f"{job.session}: {outcome.reason}")
        elif self._on_cluster:
            outcome = _seen_from_here(job, outcome)
        self.outcomes[index] = outcome
        self._bar.clear()
        while self._told in self.outcomes:
            self._tell(self._jobs[self._told], self.outcomes[self._told])
            self._told += 1
        self._bar.step(_counts(list(self.outcomes.values())))

    def _tell(self, job: Job, outcome: Outcome) -> None:
        if len(self._jobs) > 1 and not self._bar.shown:
            self._talk.progress(f"{self._told + 1} of {len(self._jobs)}: {job.session}")
        if self._talk.debug and outcome.trace:
            click.echo(outcome.trace, err=True)
        for problem in outcome.problems:
            self._talk.problem(problem)
        if "error" not in outcome.told:
            written = job.target / "summary.html"
            last = (
                f"nothing written (dry run); the page would be {written}"
                if job.dry_run
                else f"page: {written}"
            )
            self._talk.lines([*outcome.lines, last])


def told(job: Job, outcome: Outcome) -> dict[str, Any]:
    """Return what is told of a session as data."""
    page = {} if "error" in outcome.told else {"page": None if job.dry_run else job.target / "summary.html"}
    return {"session": job.session, "out": job.target, **outcome.told, **page}


def _counts(outcomes: Sequence[Outcome]) -> str:
    """Say how many sessions failed and how many stand from before."""
    lost = sum("error" in outcome.told for outcome in outcomes)
    kept = sum(outcome.kept for outcome in outcomes)
    return ", ".join([f"{lost} failed"] * (lost > 0) + [f"{kept} kept"] * (kept > 0))


def _seen_from_here(job: Job, outcome: Outcome) -> Outcome:
    """Check that what a worker wrote is on this computer too; listing the folder asks a shared disk anew."""
    if job.dry_run or "error" in outcome.told:
        return outcome
    try:
        there = "provenance.json" in os.listdir(job.target)  # noqa: PTH208 - one question to the disk
    except OSError:
        there = False
    reason = (
        f"{job.target}: a worker wrote these results where this computer does not see them; name folders of a "
        "disk that all of them share, by the same path"
    )
    return outcome if there else failed(job, reason)


def _tidy(jobs: Sequence[Job]) -> None:
    """Remove what killed processes left half-written beside the results."""
    from imustride.exporting.swap import repair

    targets = {job.target.resolve() for job in jobs}
    for folder in {target.parent for target in targets}:
        if folder.is_dir():
            names = {match[1] for path in folder.glob(".*") if (match := _LEFTOVER.fullmatch(path.name))}
            for target in targets & {folder / name for name in names}:
                repair(target)
