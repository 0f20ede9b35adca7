"""How the sensors of the body sit, from the recordings of standing and simple movements in a session."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.alignment.fitting import fit_standing
from imustride.body_run import Worn
from imustride.constants import SHANK_OF_HEIGHT, SIDES, SKATES, THIGH_OF_HEIGHT
from imustride.cutting.standing import find_standing
from imustride.errors import ImustrideError
from imustride.reading import read_movement, told
from imustride.segments import Lengths

if TYPE_CHECKING:
    from imustride.reading import Read
    from imustride.recording import Recording
    from imustride.segments import Fitting
    from imustride.session import BodyLengths, Place, Session
    from imustride.settings import Settings


def worn_in(session: Session, settings: Settings, read: Read) -> tuple[Worn, tuple[str, ...]]:
    """Read what standing and movements of a session show of its body sensors.

    Parameters
    ----------
    session : Session
    settings : Settings
    read : dict
        What was learnt of logs that runs and movements share; added to.

    Returns
    -------
    worn : Worn
    problems : tuple of str
        One line for each recording that could not be read or shows nothing.
    """
    shown = {
        str(sensor.place): shown_by(session, sensor.place, settings, read)
        for sensor in session.sensors
        if sensor.place not in SKATES
    }
    fittings = {place: found for place, (found, _) in shown.items() if found is not None}
    problems = tuple(problem for _, told_of in shown.values() for problem in told_of)
    return Worn(fittings, lengths_of(session.body)), problems


def shown_by(
    session: Session, place: Place, settings: Settings, read: Read
) -> tuple[Fitting | None, tuple[str, ...]]:
    """Return the best fitting that a session's movements show of one place, and what went wrong with the others."""
    best = None
    problems = []
    for movement in session.movements:
        if place not in movement.files:
            continue
        try:
            found = fitting_in(read_movement(session, movement, place, read), settings)
        except (ImustrideError, OSError) as error:
            problems.append(f"{movement.name}: {told(error)}")
            continue
        if best is None or better(found, best):
            best = found
    return best, tuple(problems)


def fitting_in(recording: Recording, settings: Settings) -> Fitting:
    """Return what one recording of standing and movements shows; see `alignment.fitting`."""
    found = find_standing(recording, settings.standing)
    return fit_standing(recording, found.standing, found.movements, settings.fitting)


def better(one: Fitting, other: Fitting) -> bool:
    """Whether a fitting tells more than another: without a problem first, then the better known forward axis."""
    return (bool(one.problem), one.forward_sd_rad) < (bool(other.problem), other.forward_sd_rad)


def lengths_of(body: BodyLengths) -> Lengths:
    """Return the lengths of the leg's segments: of each leg as measured on both its parts, else from body height."""
    thigh = {"left": body.left_thigh_m, "right": body.right_thigh_m}
    shank = {"left": body.left_shank_m, "right": body.right_shank_m}
    measured = [side for side in SIDES if thigh[side] and shank[side]]
    known = measured if body.height_m is None else list(SIDES)
    if not known:
        return Lengths()
    height_m = body.height_m or 0.0
    return Lengths(
        {side: thigh[side] or 0.0 if side in measured else THIGH_OF_HEIGHT * height_m for side in known},
        {side: shank[side] or 0.0 if side in measured else SHANK_OF_HEIGHT * height_m for side in known},
        "measured" if measured else "height",
    )
