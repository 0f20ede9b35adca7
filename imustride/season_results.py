"""What a comparison over a season yields: records that the command and the pages read and never change."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

MINIMAL_DETECTABLE: Final = 1.959963984540054 * 2**0.5  # Weir 2005, doi 10.1519/15184.1


@dataclass(frozen=True, slots=True)
class Point:
    """One session of a course, in the unit of what is followed.

    Parameters
    ----------
    date : date
    session : str
        Name of its folder.
    level : float
        Mean of its runs.
    band_low, band_high : float
        Where the athlete's level of that day lies, 95 %; NaN below four sessions.
    runs, pushes : int
    changed : tuple of str
        Conditions noted otherwise than in the session before.
    """

    date: dt.date
    session: str
    level: float
    band_low: float
    band_high: float
    runs: int
    pushes: int
    changed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Apart:
    """A session that is not of the course: shown apart, refused, or without the metric; and why."""

    date: dt.date
    session: str
    level: float
    runs: int
    word: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Course:
    """What one metric of one athlete did over the season, in the unit of what is followed; NaN where not told.

    Parameters
    ----------
    athlete : str
    name, metric, kind, unit, phase : str
        As in `season.family.Followed`.
    points : tuple of Point
        In order of time; like with like.
    apart : tuple of Apart
    judged : mapping
        The fields of `season.change.Change`.
    smallest_source : str
        Where the smallest change that matters comes from; empty where there is none.
    more_sessions : int or None
        About how many more would tell; None where that is not asked, or not known.
    own_error : mapping
        The athlete's own typical error, as `season.reliability.Figure`.
    reliability : tuple of mapping
        Rows of `season.reliability.reliability`, over all comparable athletes without a real change.
    side : mapping
        Of an asymmetry: a row of `season.sides.sides`; else empty.
    """

    athlete: str
    name: str
    metric: str
    kind: str
    unit: str
    phase: str
    points: tuple[Point, ...]
    apart: tuple[Apart, ...]
    judged: Mapping[str, Any]
    smallest_source: str = ""
    more_sessions: int | None = None
    own_error: Mapping[str, Any] = field(default_factory=dict)
    reliability: tuple[Mapping[str, Any], ...] = ()
    side: Mapping[str, Any] = field(default_factory=dict)

    @property
    def verdict(self) -> str:
        """`real change`, `unclear` or `no change that matters`."""
        return str(self.judged["verdict"])

    @property
    def detectable(self) -> float:
        """Minimal detectable change of a session mean, 95 %: 1.96 sqrt(2) times the noise of a session."""
        return MINIMAL_DETECTABLE * float(self.judged["session_sd"])

    def figure(self, quantity: str, form: str = "", scope: str = "session to session") -> Mapping[str, Any]:
        """Return a figure of reliability by the beginnings of its names; empty where there is none."""
        found = [
            one
            for one in self.reliability
            if one["scope"].startswith(scope)
            and one["quantity"].startswith(quantity)
            and one["form"].startswith(form)
        ]
        return found[0] if found else {}


@dataclass(frozen=True, slots=True)
class SeasonResult:
    """Courses of a season.

    Parameters
    ----------
    athletes : tuple of str
        In order of their codes.
    courses : tuple of Course
        By athlete, then in the order the metrics were named.
    phase : str
    protocol, surface : mapping of str to str
        Of the course of each athlete.
    side_agreement : mapping
        By the name of an asymmetry: value, low and high of the agreement on the side over the group (kappa).
    left_out : mapping of str to str
        Athletes that may not be shown, and why.
    most_ahead : int
        How many further sessions were tried for `Course.more_sessions`.
    """

    athletes: tuple[str, ...]
    courses: tuple[Course, ...]
    phase: str
    protocol: Mapping[str, str]
    surface: Mapping[str, str]
    side_agreement: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    left_out: Mapping[str, str] = field(default_factory=dict)
    most_ahead: int = 0

    def of(self, athlete: str) -> tuple[Course, ...]:
        """Return the courses of one athlete."""
        return tuple(course for course in self.courses if course.athlete == athlete)
