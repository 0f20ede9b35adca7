"""The files of a recording as the checks of sensors see them: each whole, or of longer logs the declared span."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from imustride.cutting.window import window
from imustride.errors import ImustrideError, SignalQualityError
from imustride.fitting_views import seen, sensor_view
from imustride.loaders import load_file
from imustride.loaders.spans import load_span
from imustride.reading import is_cut, outside, span_in, survey, told, unplaced, unread

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from imustride.checking.view import BodyFacts, SensorView
    from imustride.fitting_views import Kind, Looked
    from imustride.reading import Read
    from imustride.session import Movement, Run
    from imustride.settings import Settings
    from imustride.surveying import LongLog

# The protocol's standing still (README), and how far around a span it is looked for (common practice, no source).
STANCE_S = 3.0
AROUND_S = 30.0


def look(
    name: str,
    kind: Kind,
    sources: Mapping[str, LongLog],
    gravity_m_s2: float,
    day: dt.date | None,
    settings: Settings,
    run: Run | Movement | None = None,
    body: Mapping[str, BodyFacts] | None = None,
    read: Read | None = None,
) -> Looked:
    """Read one recording of all sensors and look at all that the checks ask for.

    Parameters
    ----------
    name : str
    kind : "run", "fitting" or "movements"
    sources : mapping of place to LongLog
    gravity_m_s2 : float
        Local gravity [m/s^2].
    day : datetime.date or None
    settings : Settings
    run : Run or Movement, optional
        Where its declared span lies: of such a recording only that is read.
    body : mapping of place to BodyFacts, optional
        What movements at the boards say of sensors that are not on a skate.
    read : dict, optional
        What was learnt of logs that several runs share; added to.
    """
    if run is None or not is_cut(run):
        views, problems = whole_views(sources, gravity_m_s2, day)
    else:
        views, problems = span_views(sources, run, gravity_m_s2, day, {} if read is None else read)
    views = {place: replace(view, body=(body or {}).get(place, view.body)) for place, view in views.items()}
    return seen(name, kind, views, problems, settings)


def whole_views(
    sources: Mapping[str, LongLog], gravity_m_s2: float, day: dt.date | None
) -> tuple[dict[str, SensorView], dict[str, str]]:
    """Look at every sensor's whole file; also say which cannot be read, and why."""
    views: dict[str, SensorView] = {}
    problems: dict[str, str] = {}
    for place, source in sources.items():
        try:
            log = load_file(source.path, source.group, source.sensor)
            views[place] = sensor_view(log, source.calibration, gravity_m_s2, day)
        except (ImustrideError, OSError) as error:
            problems[place] = told(error)
    return views, problems


def span_views(
    sources: Mapping[str, LongLog], run: Run | Movement, gravity_m_s2: float, day: dt.date | None, read: Read
) -> tuple[dict[str, SensorView], dict[str, str]]:
    """Look at the declared span of a recording in every sensor's log; also say which cannot be, and why.

    As in the analysis, the span is on the clock of the first sensor, without whose log none of the others can be placed, and
    of the logs nothing is held but when they moved, in `read`.
    """
    views: dict[str, SensorView] = {}
    problems: dict[str, str] = {}
    first, *others = sources
    for place, source in sources.items():
        if place != first and (lost := unread(sources[first], read)) is not None:
            # The others are not to blame: of them nothing is said.
            return {}, {first: f"{told(lost)}; {unplaced(sources[first], others)}"}
        try:
            span_s = span_in(run, source, None if place == first else sources[first], read)
            view = piece_view(source, span_s, gravity_m_s2, day)
            if view is not None:
                views[place] = view
                continue
            error = outside(run, place, survey(source, read))
        except (ImustrideError, OSError) as wrong:
            problems[place] = told(wrong)
            continue
        if place == first:
            return {}, dict.fromkeys(sources, str(error))
        problems[place] = str(error)
    return views, problems


def piece_view(
    source: LongLog, span_s: tuple[float, float], gravity_m_s2: float, day: dt.date | None
) -> SensorView | None:
    """Look at a span of a log on its own clock [s]; None where it holds nothing of it.

    A span that begins late and ends early holds next to no rest: what rest tells is then taken from around it.
    """

    def between(from_s: float, to_s: float) -> SensorView | None:
        log = load_span(source.path, source.group, source.sensor, from_s, to_s)
        return sensor_view(log, source.calibration, gravity_m_s2, day) if len(log.time_s) > 1 else None

    view = between(*span_s)
    recording = None if view is None else window(view.recording, *span_s)
    if view is None or recording is None:
        return None
    view = replace(view, recording=recording)
    if view.rest is not None and view.rest.duration_s >= STANCE_S:
        return view
    try:
        around = between(span_s[0] - AROUND_S, span_s[1] + AROUND_S) or view
    except SignalQualityError:  # what is wrong with the log lies outside the run
        return view
    return replace(view, rest=around.rest, bandwidth_hz=around.bandwidth_hz, unit_faults=around.unit_faults)
