"""What ``imustride prepare --cut`` says: where each run lies."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from imustride.cli.talk import columns

if TYPE_CHECKING:
    from imustride.long_logs import DayCut


def cut_data(cut: DayCut | None) -> list[dict[str, Any]]:
    """Return the cut for other programs: lines, their parts of each log [s, own clock], runs on no line."""
    if cut is None:
        return []
    return [
        {
            "logs": group.names,
            "lines": [
                {
                    "line": line.row.line,
                    "athlete": line.row.athlete,
                    "run": line.row.run,
                    "spans_s": line.spans_s,
                    "missing": line.missing,
                    "choices_s": [group.found[choice].start_s for choice in line.match.choices],
                }
                for line in group.lines
            ],
            "on_no_line": [{"start_s": run.from_s, "end_s": run.to_s} for run in group.over],
            "set_aside": [
                {"start_s": run.start_s, "end_s": run.stop_s, "reason": run.reason} for run in group.aside
            ],
        }
        for group in cut.groups
    ]


def cut_lines(cut: DayCut | None) -> list[str]:
    """Return a table of the cut, empty where nothing was cut."""
    if cut is None:
        return []
    lines = []
    for group in cut.groups:
        rows = [("line", "athlete", "run", "start_s", "end_s", "shocks")]
        for line in group.lines:
            head = (str(line.row.line), line.row.athlete, line.row.run)
            if line.match.candidate is None:
                rows.append((*head, "-", "-", "-"))
                continue
            run = group.found[line.match.candidate]
            rows.append((*head, f"{run.from_s:.1f}", f"{run.to_s:.1f}", str(len(run.shocks_s))))
        lines += [", ".join(dict.fromkeys(group.names.values())), *columns(rows, right=(0, 3, 4, 5)), ""]
    return lines
