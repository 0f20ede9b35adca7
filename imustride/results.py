"""What an analysis yields: records that reports and exports read and never change."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

    from imustride.kinematics import BladePath, BodyPath, Clock, Gates, Kinematics
    from imustride.segments import Body
    from imustride.session import Session


@dataclass(frozen=True, eq=False, slots=True)
class RunResult:
    """One analysed run.

    `pushes` has the columns of ``pushes.csv``. `kinematics`, `clocks` and `paths` are keyed by side; `clock`
    is the place whose clock counts; `body` is empty where the clocks are not joined. An unusable run carries the reason in one sentence and stays out of symmetry;
    a run of which no file could be read is neither readable nor usable. `swapped`: left and right are
    exchanged. `problems` tell what could not be read. `gates` are those of the
    timing system, `segments` the rest of the body where more than skates was worn, `leg_courses` the angles of
    its legs through each contact (``side, push, phase, contact_percent, knee_flexion_deg, shank_inclination_deg``).
    """

    name: str
    pushes: pd.DataFrame
    kinematics: Mapping[str, Kinematics]
    clocks: Mapping[str, Clock]
    usable: bool
    reason: str = ""
    notes: tuple[str, ...] = ()
    readable: bool = True
    clock: str = ""
    swapped: bool = False
    problems: tuple[str, ...] = ()
    paths: Mapping[str, BladePath] = field(default_factory=dict)
    body: BodyPath | None = None
    gates: Gates | None = None
    segments: Body | None = None
    leg_courses: pd.DataFrame | None = None

    @property
    def unread(self) -> tuple[str, ...]:
        """What could not be read of it."""
        return self.problems or (() if self.readable else (self.reason,))


@dataclass(frozen=True, eq=False, slots=True)
class SessionResult:
    """One analysed session: the three tables of the contract, the runs and where it all came from.

    `segments` has the columns of ``segments.csv``; None where nothing but skates was worn. `problems` tell which recordings of
    movements could not be read; they are among the notes too.
    """

    session: Session
    runs: tuple[RunResult, ...]
    pushes: pd.DataFrame
    runs_table: pd.DataFrame
    symmetry: pd.DataFrame
    provenance: Mapping[str, Any]
    notes: tuple[str, ...] = field(default=())
    segments: pd.DataFrame | None = None
    problems: tuple[str, ...] = ()


Verdict = Literal["pass", "warn", "fail", "not told"]
# So many sensors in all have lines of their own, and so many are named where one line holds for several.
FEW, NAMED = 2, 4


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One test of one sensor, or of all together (`where` names them).

    `measured` and `limit` are for people, `value` is for programs: in the unit that `unit` names. `strain` is how much of
    the limit is used up: beyond 1 it warns or fails.
    """

    check: str
    title: str
    recording: str
    where: str
    device: str
    verdict: Verdict
    measured: str
    limit: str
    advice: str
    value: float | None
    unit: str
    strain: float
    source: str
    mended_by: Literal["recording", "declaring"]


@dataclass(frozen=True, slots=True)
class RunAdvice:
    """Whether a run can be kept; `because` says why not, `correct` what to mend in the session file."""

    run: str
    verdict: Literal["keep", "repeat", "correct first"]
    because: tuple[str, ...]
    correct: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What a check of sensors found: `lines` in the order of the checks, left before right."""

    title: str
    facts: Mapping[str, str]
    recordings: tuple[str, ...]
    missing: tuple[str, ...]
    lines: tuple[CheckLine, ...]
    advice: RunAdvice | None = None

    @property
    def verdict(self) -> Verdict:
        """The worst of all lines; ``warn`` does not count as failed."""
        found = {line.verdict for line in self.lines}
        return "fail" if "fail" in found else "warn" if "warn" in found else "pass"

    @property
    def to_do(self) -> tuple[tuple[CheckLine, str], ...]:
        """What warns or fails and can be done something about, with the places of which the same is said."""
        said: dict[tuple[str, str, str], list[CheckLine]] = {}
        for line in self.worst:
            if line.verdict in {"warn", "fail"} and line.advice:
                said.setdefault((line.check, line.verdict, line.advice), []).append(line)
        return tuple((lines[0], self._where(lines)) for lines in said.values())

    @property
    def worst(self) -> tuple[CheckLine, ...]:
        """For each check and place the worst line of all recordings."""
        rank = {"not told": 0, "pass": 1, "warn": 2, "fail": 3}
        kept: dict[tuple[str, str], CheckLine] = {}
        for line in self.lines:
            before = kept.get((line.check, line.where))
            if before is None or (rank[line.verdict], line.strain) > (rank[before.verdict], before.strain):
                kept[line.check, line.where] = line
        return tuple(kept.values())

    @property
    def brief(self) -> tuple[tuple[CheckLine, str], ...]:
        """The worst lines and where they hold: what sensors have in common is one line, unless there are but two of them.

        Lines that pass, or cannot tell, are put together whatever they measured: shown is the one nearest its limit.
        """
        alike: dict[tuple[str, ...], list[CheckLine]] = {}
        for line in self.worst:
            same = line.measured if line.verdict in {"warn", "fail"} else ""
            alike.setdefault((line.check, line.limit, line.verdict, same), []).append(line)
        own = FEW if len({line.where for line in self.lines if line.device}) <= FEW else 1
        order = list(dict.fromkeys(check for check, *_ in alike))
        told: list[tuple[CheckLine, str]] = []
        for lines in sorted(alike.values(), key=lambda lines: order.index(lines[0].check)):
            if len(lines) <= own:
                told += [(line, line.where) for line in lines]
                continue
            nearest = max(lines, key=lambda line: line.strain)
            if len({line.measured for line in lines}) > 1:
                nearest = replace(nearest, measured=f"{nearest.measured} ({nearest.where})")
            told.append((nearest, self._where(lines)))
        return tuple(told)

    def _where(self, lines: Sequence[CheckLine]) -> str:
        """Name the places of lines of one check, or count them where they are many."""
        if len(lines) <= FEW:
            return " and ".join(line.where for line in lines)
        return named_or_counted(
            [line.where for line in lines],
            len({line.where for line in self.lines if line.check == lines[0].check}),
        )


def named_or_counted(places: Sequence[str], of_all: int) -> str:
    """Name up to four places, else count them."""
    if len(places) == of_all:
        return f"all {of_all} sensors"
    return ", ".join(places) if len(places) <= NAMED else f"{len(places)} of {of_all} sensors"
