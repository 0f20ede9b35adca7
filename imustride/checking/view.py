"""What a check sees, and what it says."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from imustride.constants import SKATES

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from imustride.kinematics import Cut, SharedShocks
    from imustride.recording import Recording, Rest
    from imustride.results import Verdict
    from imustride.segments import Fitting


@dataclass(frozen=True, slots=True)
class CalibrationFacts:
    """What is known of a sensor's calibration.

    `problem` says why a declared one cannot be used; `date` is None where none is declared or it could not be read.
    """

    declared: bool
    date: dt.date | None = None
    problem: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class BodyFacts:
    """What movements at the boards and the run itself say of a sensor that is not on a skate.

    Parameters
    ----------
    recorded : bool
        Whether the session names a recording of movements of this place.
    fitting : Fitting or None
        How it sits, as the movements show it; None where they show nothing, with the reason in `fitting_problem`.
    in_run : bool
        Whether the run was analysed: else nothing of it can be told.
    place_problem : str
        What in the run speaks against the place; empty where nothing does.
    run_problem : str
        Why it could not be joined to the skates; empty where it could.
    clock_sd_s, heading_sd_deg : float
        How well its clock is joined [s], and its heading against the lane is known [deg]; NaN where not at all.
    """

    recorded: bool = False
    fitting: Fitting | None = None
    fitting_problem: str = ""
    in_run: bool = False
    place_problem: str = ""
    run_problem: str = ""
    clock_sd_s: float = math.nan
    heading_sd_deg: float = math.nan


@dataclass(frozen=True, eq=False, slots=True)
class SensorView:
    """One sensor in one recording.

    Parameters
    ----------
    recording : Recording
        Calibrated where the calibration can be used; its sensor carries what was declared.
    gravity_m_s2 : float
        Local gravity [m/s^2].
    day : datetime.date or None
        Day of the recording.
    calibration : CalibrationFacts
    rest : Rest or None
        None where the sensor is never at rest.
    bandwidth_hz : float or None
        Estimated from the noise at rest.
    unit_faults : mapping of str to str
        What is surely declared wrongly, by topic: "acceleration", "angular velocity", "mounting".
    cut : Cut or None
        Where the run lies; None where none was found, with the reason in `cut_problem`, or none was made.
    blows_s : ndarray, shape (k,)
        Sharp blows outside the run on the own clock [s].
    turned_deg : tuple of float or None
        Pitch and roll of the stance after the stop against the one before the start [deg].
    axes_off_deg : float or None
        How far the declared forward axis lies from where the skate runs [deg].
    dead_axes : tuple of str
        Axes that show one and the same value throughout, by name.
    gravity_turned_deg : tuple of float or None
        How far gravity after the stop lies from where the gyroscope turned it since the stance before the start, and from
        where it would have with its sign reversed [deg].
    digest : str
        Of the samples: equal for copies of a file.
    body : BodyFacts
        Only of sensors that are not on a skate.
    """

    recording: Recording
    gravity_m_s2: float
    day: dt.date | None
    calibration: CalibrationFacts
    rest: Rest | None
    bandwidth_hz: float | None
    unit_faults: Mapping[str, str]
    cut: Cut | None
    cut_problem: str
    blows_s: NDArray[np.float64]
    turned_deg: tuple[float, float] | None = None
    axes_off_deg: float | None = None
    dead_axes: tuple[str, ...] = ()
    gravity_turned_deg: tuple[float, float] | None = None
    digest: str = ""
    body: BodyFacts = field(default_factory=BodyFacts)

    @property
    def on_skate(self) -> bool:
        """Whether it is worn on a skate."""
        return self.recording.place in SKATES


@dataclass(frozen=True, eq=False, slots=True)
class RecordingView:
    """One recording of all sensors: a run, the guided form before anybody skates, or movements at the boards.

    Parameters
    ----------
    name : str
    kind : "run", "fitting" or "movements"
    sensors : mapping of place to SensorView
    problems : mapping of place to str
        Why a sensor's file could not be read.
    shared : SharedShocks or None
        None where there are not two skates, or the run was not found on both.
    moving_at_end : mapping of place to str
        Sensors whose log ends while the skate still moves: "pushing" or "gliding".
    ends_s : mapping of place to float
        End of each log on the first clock [s]; empty where the clocks could not be joined.
    sides : "as declared", "contradicts" or "cannot tell"
        What the edges of the pushes say of left and right.
    """

    name: str
    kind: Literal["run", "fitting", "movements"]
    sensors: Mapping[str, SensorView]
    problems: Mapping[str, str]
    shared: SharedShocks | None = None
    moving_at_end: Mapping[str, str] = field(default_factory=dict)
    ends_s: Mapping[str, float] = field(default_factory=dict)
    sides: Literal["as declared", "contradicts", "cannot tell"] = "cannot tell"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one check says.

    `strain` is how much of the limit is used up: 1 and more is beyond it. `where` names the sensor, where a check of a whole
    recording speaks of one. `by_declaring`: this can be mended in the session file, whatever holds for the check.
    """

    verdict: Verdict
    measured: str
    limit: str
    advice: str = ""
    value: float | None = None
    unit: str = ""
    strain: float = 0.0
    where: str = ""
    by_declaring: bool = False


def graded(value: float, limits: tuple[float, float]) -> tuple[Verdict, float]:
    """Grade a value that should be small; also give its part of the first limit.

    Parameters
    ----------
    value : float
    limits : tuple of float
        Above the first it warns, above the second it fails.

    Examples
    --------
    >>> graded(2.0, (4.0, 10.0)), graded(12.0, (4.0, 10.0))
    (('pass', 0.5), ('fail', 3.0))
    """
    verdict: Verdict = "fail" if value > limits[1] else "warn" if value > limits[0] else "pass"
    return verdict, value / limits[0] if limits[0] > 0 else float(value > 0)


def graded_low(value: float, limits: tuple[float, float]) -> tuple[Verdict, float]:
    """Grade a value that should be large: below the first limit it warns, below the second it fails."""
    verdict: Verdict = "fail" if value < limits[1] else "warn" if value < limits[0] else "pass"
    return verdict, limits[0] / value if value > 0 else math.inf


def worst(grades: Sequence[tuple[Verdict, float]]) -> tuple[Verdict, float]:
    """Return the worst verdict of some grades, and the largest part of a limit.

    Parameters
    ----------
    grades : sequence of (verdict, strain)
        As `graded` gives them; at least one.
    """
    order: tuple[Verdict, ...] = ("fail", "warn", "pass")
    verdicts = [verdict for verdict, _ in grades]
    return next(verdict for verdict in order if verdict in verdicts), max(strain for _, strain in grades)


def untold(measured: str, limit: str, advice: str = "") -> Outcome:
    """Say that a question cannot be answered from this recording."""
    return Outcome("not told", measured, limit, advice)
