"""A gyroscope's parameters from known turns: whole turns against a stop, or a turntable at a steady rate."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.rest import RestSettings
from imustride.calibration.triad import NORMAL, Triad, triad
from imustride.errors import SignalQualityError
from imustride.recording import own

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import Recording

    Floats = NDArray[np.float64]

AXES = "xyz"


@dataclass(frozen=True, slots=True)
class TurnSettings:
    """Settings of known turns. Common practice, no source."""

    rest: RestSettings = field(default_factory=RestSettings)
    # A turn in a declared unit shows its angle within this part.
    within: float = 0.2
    # About one axis: its share of the whole, and the whole's share of the path.
    single_axis: float = 0.95
    straight: float = 0.9
    # Gravity is where it was after a whole turn, within this sine.
    same: float = 0.06
    # Errors of one turn: the stop, the axis against the housing [rad]; of a turntable's rate (part).
    stop_rad: float = 0.005
    axis_rad: float = 0.009
    table_ratio: float = 1e-3
    # Turns begin and end so far inside the rests: the slow first of a turn may pass for rest.
    inside_s: float = 0.3
    # The three axes of one sensor respond alike within this part.
    alike: float = 0.3
    # A turntable turns where the rate differs from rest by so many times the calmest shaking, and is steady
    # where it shakes by no more than this part.
    turning_multiple: float = 50.0
    steady: float = 0.02
    longest_turn_s: float = 120.0


@dataclass(frozen=True, eq=False, slots=True)
class KnownTurns:
    """Turns of which the angle, or the rate, is known.

    Parameters
    ----------
    time_s : ndarray, shape (n, 2)
        From and to, on the recording's clock [s].
    axis : ndarray of int, shape (n,)
        Sensing axis they go about.
    raw : ndarray, shape (n, 3)
        Integral of the raw rate less its bias, or the steady rate less its bias.
    known : ndarray, shape (n,)
        The true angle [rad] or rate [rad/s], with the sign the sensor shows.
    sd_ratio : float
        Standard deviation of one known turn, as a part of it.
    bias, bias_sd : ndarray, shape (3,)
        Of the angular velocity at rest, in the recording's unit.
    method : str
    """

    time_s: Floats
    axis: NDArray[np.intp]
    raw: Floats
    known: Floats
    sd_ratio: float
    bias: Floats
    bias_sd: Floats
    method: str

    def __post_init__(self) -> None:
        own(self.time_s, self.axis, self.raw, self.known, self.bias, self.bias_sd)


@dataclass(frozen=True, eq=False, slots=True)
class TurnFit:
    """A gyroscope's parameters from known turns.

    `departure_percent` (shape (n,)) is what each turn, corrected, departs from its known size along its own
    axis; NaN where an axis has one turn only, which fits itself.
    """

    method: str
    triad: Triad
    departure_percent: Floats

    def __post_init__(self) -> None:
        own(self.departure_percent)


def fit_turns(turns: KnownTurns, settings: TurnSettings, *, from_counts: bool) -> TurnFit:
    """Fit bias and matrix of a gyroscope to known turns about its three axes.

    Raises
    ------
    SignalQualityError
        If an axis has no turn, or responds very differently from the others.

    Notes
    -----
    A turn about one axis of the housing shows one column of the response: ``raw = response @ turn``
    (Ferraris, Grimaldi, Parvis 1995, Sensors and Materials 7(5):311-330).
    """
    columns, own_sd, other_sd = [], np.empty(3), np.empty(3)
    for axis in range(3):
        mine = turns.axis == axis
        if not mine.any():
            raise SignalQualityError(_no_turn(turns, axis))
        each = turns.raw[mine] / turns.known[mine, np.newaxis]
        columns.append(each.mean(axis=0))
        own_sd[axis] = turns.sd_ratio / np.sqrt(len(each))
        other_sd[axis] = settings.axis_rad / np.sqrt(len(each))
    response = np.array(columns).T
    size = float(np.abs(np.diag(response)).mean())
    _refuse_unlike(np.diag(response), settings)
    if not from_counts and abs(size - 1) > settings.within:
        message = (
            f"the turns show {size:.2f} times what was declared; wanted the true angle or rate of the turns, and the unit "
            "of the file; correct --turn-deg, --rpm or the unit"
        )
        raise SignalQualityError(message)
    sd = np.where(np.eye(3, dtype=bool), own_sd, other_sd)
    found = triad(
        np.concatenate((np.zeros(3), (response / size).ravel())),
        np.diag(np.concatenate((turns.bias_sd / size, sd.ravel())) ** 2),
        lambda p: (turns.bias + size * p[:3], np.asarray(np.linalg.inv(size * p[3:].reshape(3, 3)))),
        NORMAL,
        from_counts=from_counts,
    )
    corrected = (turns.raw @ found.correction.matrix.T)[np.arange(len(turns.axis)), turns.axis]
    departure = 100 * (corrected / turns.known - 1)
    departure[np.bincount(turns.axis, minlength=3)[turns.axis] < 2] = np.nan
    return TurnFit(turns.method, found, departure)


def _no_turn(turns: KnownTurns, axis: int) -> str:
    found = ", ".join(
        f"{AXES[about]} at {from_s:.1f} s"
        for about, (from_s, _) in zip(turns.axis, turns.time_s, strict=True)
    )
    return (
        f"no known turn about {AXES[axis]}; found turns about {found or 'no axis'}; wanted one about each axis: "
        "rest for 2 s, turn the sensor about one axis of its housing, rest for 2 s"
    )


def _refuse_unlike(response: Floats, settings: TurnSettings) -> None:
    ratio = np.abs(response) / np.median(np.abs(response))
    worst = int(np.argmax(np.abs(ratio - 1)))
    if abs(ratio[worst] - 1) > settings.alike:
        message = (
            f"the turn about {AXES[worst]} shows {ratio[worst]:.2f} times that about the other axes; wanted the same "
            "turn about each axis; record it again, or say what it was"
        )
        raise SignalQualityError(message)


def refuse_clipped(recording: Recording, begin: int, end: int) -> None:
    """Refuse a turn in which the gyroscope reached the end of its range.

    Raises
    ------
    SignalQualityError
    """
    clipped = recording.clipped[begin:end, 1]
    if clipped.any():
        time_s = recording.start_s + (begin + int(np.argmax(clipped))) / recording.rate_hz
        message = (
            f"the gyroscope is at the end of its range at {time_s:.1f} s, in a turn; wanted a turn within the range; "
            "turn more slowly or set a larger range"
        )
        raise SignalQualityError(message)


def single_axes(raw: Floats, settings: TurnSettings) -> tuple[NDArray[np.intp], Floats, NDArray[np.bool_]]:
    """Return the axis that each turn is most about, the turn along it, and whether it is about that axis alone."""
    axis = np.argmax(np.abs(raw), axis=1)
    along = raw[np.arange(len(axis)), axis]
    return axis, along, np.abs(along) >= settings.single_axis * np.linalg.norm(raw, axis=1)


def rest_level(means: Floats, spans: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Return the angular velocity at rest and its standard error, from the means over several rests."""
    weights = (spans[:, 1] - spans[:, 0]).astype(np.float64)
    level = np.average(means, axis=0, weights=weights)
    spread = np.average((means - level) ** 2, axis=0, weights=weights)
    return level, np.sqrt(spread / max(len(means) - 1, 1))
