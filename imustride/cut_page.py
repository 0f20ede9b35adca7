"""The page and the pictures of a cut, from what was decided."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.cutting.survey import BLOCK_S
from imustride.report.cut import CutPicture, CutRow, cut_page, cut_pictures
from imustride.report.cut_picture import Lane, Span
from imustride.surveying import moving

if TYPE_CHECKING:
    from imustride.cutting.finding import Candidate
    from imustride.long_logs import CutGroup, CutLine, DayCut
    from imustride.report.cut_picture import Kind

CUT = "cut.html"
PICTURE_NAME = "cut-*.*"


def cut_files(name: str, cut: DayCut) -> dict[str, bytes]:
    """Return the page and the pictures of a cut by file name.

    Parameters
    ----------
    name : str
        Of the list.
    cut : DayCut
    """
    groups = [_picture(group) for group in cut.groups]
    page = cut_page(name, groups, cut.problems, cut.notes)
    return {CUT: page.encode(), **cut_pictures(groups)}


def _picture(group: CutGroup) -> CutPicture:
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
    choices = {choice for line in group.lines for choice in line.match.choices}
    spans = []
    for place, run in enumerate(group.found):
        kind: Kind = "run" if place in matched else "guess" if place in choices else "over"
        label = str(matched[place].row.line) if place in matched else "?" if place in choices else "+"
        if kind != "over" or run.is_sure:
            spans.append(_span(kind, label, run))
    spans += [Span("aside", "", run.start_s, run.stop_s, run.start_s, run.stop_s, ()) for run in group.aside]
    return CutPicture(
        ", ".join(dict.fromkeys(group.names.values())),
        lanes,
        tuple(spans),
        tuple(CutRow(_cells(group, line)) for line in group.lines),
        tuple(f"{run.start_s:.1f} to {run.stop_s:.1f} s: {run.reason}" for run in group.aside),
    )


def _span(kind: Kind, label: str, run: Candidate) -> Span:
    return Span(kind, label, run.from_s, run.to_s, run.start_s, run.stop_s, run.shocks_s)


def _cells(group: CutGroup, line: CutLine) -> tuple[str, ...]:
    row = line.row
    gate_time = f"{row.gates[-1][1] - row.gates[0][1]:.3f} s" if row.gates else ""
    head = (str(row.line), row.athlete, row.run)
    if line.match.candidate is None:
        told = " or ".join(f"{group.found[choice].start_s:.0f} s" for choice in line.match.choices)
        return (
            *head,
            "",
            "",
            "",
            gate_time,
            "",
            "",
            "",
            f"not decided: {told}, or none" if told else "not found",
        )
    run = group.found[line.match.candidate]
    remarks = [f"not at {place.replace('_', ' ')}: {why}" for place, why in line.missing.items()]
    if row.start_s is not None:
        remarks.insert(0, "as the list says")
    return (
        *head,
        f"{run.from_s:.1f}",
        f"{run.to_s:.1f}",
        f"{run.start_s:.1f}",
        gate_time,
        f"{run.sprint_s:.1f} s" if run.sprint_s else "",
        f"{run.stance_s:.1f} s" if run.stance_s else "",
        f"{run.before} before, {len(run.shocks_s) - run.before} behind",
        "; ".join(remarks),
    )
