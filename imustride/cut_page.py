"""What the page of a cut shows, from what was decided."""

from __future__ import annotations

import os
import re
import shlex
from typing import TYPE_CHECKING

import numpy as np

from imustride.cutting.survey import BLOCK_S
from imustride.report.cut import CutPicture, CutRow, Seen
from imustride.report.cut_picture import Lane, Span
from imustride.surveying import moving

if TYPE_CHECKING:
    from imustride.cutting.finding import Candidate
    from imustride.long_logs import CutGroup, CutLine
    from imustride.report.cut_picture import Kind

CUT = "cut.html"
# As `imustride.report.cut.cut_files` names them: the group, and the sheet where there are several.
PICTURE_NAME = re.compile(r"cut-[0-9]+(-[0-9]+)?\.(svg|png)")
# What neither shell of Windows takes for more than itself; everything else goes into double quotes.
PLAIN_ON_WINDOWS = re.compile(r"[\w+=:./\\-]+")
GUESS, OVER, ASIDE = "?", "+", ""
# What a motion lacks that was neither set aside nor needed, in words of the reasons of those that were.
WEAK = "a motion without shocks"


def windows_quoted(text: str) -> str:
    """Return a word as cmd and PowerShell both read it, in double quotes where it needs any.

    Within them cmd still replaces ``%name%``, and PowerShell ``$name`` and backticks: no quotes serve both there.
    """
    return text if PLAIN_ON_WINDOWS.fullmatch(text) else f'"{text}"'


def command_text(*words: object, **options: object) -> str:
    """Return a command of this program as it is typed in the shell of this computer, every word quoted that needs it.

    Quoted for a POSIX shell (`shlex.quote`); on Windows by `windows_quoted`.

    Examples
    --------
    >>> command_text("prepare", "an evening/list.csv", "--cut", out="evening")
    "imustride prepare 'an evening/list.csv' --cut --out evening"
    """
    named = [word for name, value in options.items() for word in (f"--{name}", value)]
    texts = ["tab" if word == "\t" else str(word) for word in ("imustride", *words, *named)]
    return " ".join(map(windows_quoted if os.name == "nt" else shlex.quote, texts))


def cut_group(group: CutGroup) -> CutPicture:
    """Return what the page shows of one group of logs."""
    lanes = tuple(
        Lane(
            place,
            np.asarray(
                blocks.start_s + group.lags_s[place] + BLOCK_S * np.arange(len(blocks.count)),
                dtype=np.float64,
            ),
            moving(blocks),
        )
        for place, blocks in group.blocks.items()
    )
    matched = {line.match.candidate: line for line in group.lines if line.match.candidate is not None}
    may_be: dict[int, list[int]] = {}
    for line in group.lines:
        for choice in line.match.choices:
            may_be.setdefault(choice, []).append(line.row.line)
    spans, others, aside = [], [], [(run, run.reason) for run in group.aside]
    for place, run in enumerate(group.found):
        if place in matched:
            spans.append(_span("run", str(matched[place].row.line), run))
        elif place in may_be:
            spans.append(_span("guess", GUESS, run))
            others.append(_seen(GUESS, run, tuple(may_be[place])))
        elif run.is_sure:
            spans.append(_span("over", OVER, run))
            others.append(_seen(OVER, run))
        else:
            aside.append((run, WEAK))
    spans += [_span("aside", ASIDE, run) for run, _ in aside]
    return CutPicture(
        tuple(group.names.values()),
        lanes,
        tuple(spans),
        tuple(_row(group, line) for line in group.lines),
        tuple(others),
        tuple(
            _seen(ASIDE, run, reason=reason) for run, reason in sorted(aside, key=lambda one: one[0].start_s)
        ),
    )


def _span(kind: Kind, label: str, run: Candidate) -> Span:
    if kind == "aside":
        return Span(kind, label, run.start_s, run.stop_s, run.start_s, run.stop_s, ())
    return Span(kind, label, run.from_s, run.to_s, run.start_s, run.stop_s, run.shocks_s)


def _seen(mark: str, run: Candidate, lines: tuple[int, ...] = (), reason: str = "") -> Seen:
    behind = len(run.shocks_s) - run.before
    return Seen(
        mark, run.from_s, run.to_s, run.start_s, run.sprint_s, run.stance_s, run.before, behind, lines, reason
    )


def _row(group: CutGroup, line: CutLine) -> CutRow:
    row, decided = line.row, line.match
    run = None if decided.candidate is None else group.found[decided.candidate]
    return CutRow(
        row.line,
        f"{row.begin:%H:%M:%S}" if row.begin.second else f"{row.begin:%H:%M}",
        row.athlete,
        row.run,
        row.gates[-1][1] - row.gates[0][1] if row.gates else None,
        ("unclear" if decided.choices else "none")
        if run is None
        else ("found" if row.start_s is None else "said"),
        None if run is None else _seen(str(row.line), run),
        tuple(group.found[choice].start_s for choice in decided.choices),
        dict(line.missing),
    )
