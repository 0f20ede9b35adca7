"""The page of a cut: the picture of every group of logs, which part is which line, what to correct, what comes next."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from imustride import __version__
from imustride.report.amounts import Amounts
from imustride.report.catalogue import DEFAULT_LANGUAGE, Catalogue, catalogue
from imustride.report.cut_picture import cut_sheets
from imustride.report.drawing import saved
from imustride.report.inline import inline_svg
from imustride.report.pages import page_environment
from imustride.report.sheet import MARK

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from matplotlib.figure import Figure

    from imustride.report.cut_picture import Lane, Span

Found = Literal["found", "said", "unclear", "none"]
# Blocks of a log know times to a tenth of a second.
WITHIN_S = 0.5
SEEN = ("start_s", "end_s", "begins", "pushing", "standing", "shocks")
OF_LINE = ("line", "time", "skater", "run", "found", *SEEN[:3], "gate", *SEEN[3:], "remark")
OF_OTHERS = ("mark", *SEEN, "what")


@dataclass(frozen=True, slots=True)
class Seen:
    """Something found in the logs; times on the clock of the first log [s].

    Parameters
    ----------
    mark : str
        What stands above it in the picture.
    from_s, to_s : float
        The part to be cut out.
    start_s : float
        When the motion begins.
    sprint_s, stance_s : float
        How long the feet push, how long they stand still before; zero where the list says the part.
    before, behind : int
        Shocks that both feet felt.
    lines : tuple of int
        Of the list, that it may belong to.
    reason : str
        Why it is set aside, as the analysis says it.
    """

    mark: str
    from_s: float
    to_s: float
    start_s: float
    sprint_s: float
    stance_s: float
    before: int
    behind: int
    lines: tuple[int, ...] = ()
    reason: str = ""


@dataclass(frozen=True, slots=True)
class CutRow:
    """One line of the list: what it says, and what was found for it.

    Parameters
    ----------
    line : int
    time, athlete, run : str
    gate_time_s : float or None
    found : {"found", "said", "unclear", "none"}
        ``said``: the list itself says which part it is.
    seen : Seen or None
    choices_s : tuple of float
        When the runs begin among which it is not decided [s].
    missing : dict of place to str
        Sensors whose log does not show the run, and why.
    """

    line: int
    time: str
    athlete: str
    run: str
    gate_time_s: float | None
    found: Found
    seen: Seen | None = None
    choices_s: tuple[float, ...] = ()
    missing: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CutPicture:
    """One group of logs: names (the clock is that of the first), what there is to draw, lines, and what is on none.

    `others` may belong to a line or are on none; `aside` is no run.
    """

    logs: tuple[str, ...]
    lanes: tuple[Lane, ...]
    spans: tuple[Span, ...]
    rows: tuple[CutRow, ...]
    others: tuple[Seen, ...]
    aside: tuple[Seen, ...]


@dataclass(frozen=True, slots=True)
class Told:
    """What the command says of a list, and which commands come next.

    Parameters
    ----------
    name : str
        Of the list.
    problems, notes : tuple of str
    again : str
        The command that cuts once more.
    analyse : str
        The command that analyses what is written; empty where nothing is.
    """

    name: str
    problems: tuple[str, ...]
    notes: tuple[str, ...]
    again: str
    analyse: str


def cut_files(told: Told, groups: Sequence[CutPicture], language: str = DEFAULT_LANGUAGE) -> dict[str, bytes]:
    """Return the page, as HTML that needs nothing else, and its pictures as SVG and PNG, by file name.

    Parameters
    ----------
    told : Told
    groups : sequence of CutPicture
    language : str
        One of `imustride.report.catalogue.languages`.
    """
    amounts = Amounts(catalogue(language))
    found: dict[str, bytes] = {}
    blocks = []
    for place, group in enumerate(groups, start=1):
        drawn = cut_sheets(f"cut-{place}", group.lanes, group.spans, amounts.say, group.logs[0])
        for name, figure in drawn.items():
            found[f"{name}.svg"] = saved(figure, name, "svg")
            found[f"{name}.png"] = saved(figure, name, "png")
        number = f" ({place}/{len(groups)})" if len(groups) > 1 else ""
        blocks.append(_block(group, drawn, told.name, amounts) | {"name": ", ".join(group.logs) + number})
    page = (
        page_environment()
        .get_template("cut.html.j2")
        .render(
            mark=MARK,
            say=amounts.say,
            told=told,
            short=in_short(groups, amounts.say),
            problems=[amounts.say.reason(problem) for problem in told.problems],
            notes=[amounts.say.reason(note) for note in told.notes],
            blocks=blocks,
            version=__version__,
        )
    )
    return {"cut.html": page.encode(), **found}


def in_short(groups: Iterable[CutPicture], say: Catalogue) -> list[str]:
    """Say in a sentence each how many lines have their run, how many have not, and what is over."""
    groups = list(groups)
    rows = [row for group in groups for row in group.rows]
    good = sum(row.seen is not None for row in rows)
    number = {
        "unclear": sum(row.found == "unclear" for row in rows),
        "none": sum(row.found == "none" for row in rows),
        "over": sum(not one.lines for group in groups for one in group.others),
        "missing": sum(bool(row.missing) for row in rows),
    }
    first = (
        say.many("cut.short.all", good) if good == len(rows) else say("cut.short.some", n=good, all=len(rows))
    )
    return [first, *(say.many(f"cut.short.{what}", n) for what, n in number.items() if n)]


def _block(group: CutPicture, drawn: dict[str, Figure], name: str, amounts: Amounts) -> dict[str, Any]:
    """Return what the page says and shows of one group of logs."""
    from markupsafe import Markup

    say = amounts.say
    kinds = {span.kind for span in group.spans}
    looks = ["band", *(["part", "shock"] if kinds - {"aside"} else [])]
    looks += [kind for kind in ("run", "guess", "over", "aside") if kind in kinds]
    return {
        "logs": ", ".join(dict.fromkeys(group.logs)),
        "clock": group.logs[0],
        "pictures": [Markup(inline_svg(figure, one)) for one, figure in drawn.items()],  # noqa: S704 - our own drawing
        "key": [say(f"cut.key.{look}") for look in looks],
        "lines": _table(OF_LINE, [_line_cells(row, amounts) for row in group.rows], say),
        "others": _table(OF_OTHERS, [_other_cells(one, name, amounts) for one in group.others], say),
        "aside": _table((*SEEN, "why"), [_other_cells(one, name, amounts)[1:] for one in group.aside], say),
    }


def _table(columns: Sequence[str], rows: Sequence[Sequence[str]], say: Catalogue) -> dict[str, Any]:
    return {"columns": [say(f"cut.column.{column}") for column in columns], "rows": rows}


def _line_cells(row: CutRow, amounts: Amounts) -> list[str]:
    """Cells in order of `OF_LINE`."""
    seen = [""] * len(SEEN) if row.seen is None else _seen_cells(row.seen, amounts)
    gate = "" if row.gate_time_s is None else amounts.amount(row.gate_time_s, "s")
    head = [str(row.line), row.time, row.athlete, row.run, amounts.say(f"cut.found.{row.found}")]
    return [*head, *seen[:3], gate, *seen[3:], _remark(row, amounts)]


def _remark(row: CutRow, amounts: Amounts) -> str:
    say = amounts.say
    if row.found == "unclear":
        return say(
            "cut.unclear", at=say.listed([_second(at_s, amounts) for at_s in row.choices_s], "list.or")
        )
    return say("list.semicolon").join(
        say("cut.missing", place=say.place(place), why=say.reason(why)) for place, why in row.missing.items()
    )


def _other_cells(seen: Seen, name: str, amounts: Amounts) -> list[str]:
    """Cells in order of `OF_OTHERS`."""
    say = amounts.say
    if seen.reason:
        what = say.reason(seen.reason)
    elif seen.lines:
        what = say("cut.may_be", lines=say.listed([str(line) for line in seen.lines], "list.or"))
    else:
        what = say("cut.over", name=name)
    return [seen.mark, *_seen_cells(seen, amounts), what]


def _seen_cells(seen: Seen, amounts: Amounts) -> list[str]:
    """Cells in order of `SEEN`; what goes into the list has the decimal point of the list."""
    shocks = seen.before + seen.behind
    return [
        f"{seen.from_s:.1f}",
        f"{seen.to_s:.1f}",
        _second(seen.start_s, amounts),
        _second(seen.sprint_s, amounts) if seen.sprint_s else "",
        _second(seen.stance_s, amounts) if seen.stance_s else "",
        amounts.say("cut.shocks", before=seen.before, behind=seen.behind)
        if shocks
        else amounts.say("cut.no_shocks"),
    ]


def _second(time_s: float, amounts: Amounts) -> str:
    return amounts.amount(time_s, "s", WITHIN_S)
