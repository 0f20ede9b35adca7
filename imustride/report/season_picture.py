"""The course of one metric over a season: a point a session, its measurement band, what changed beside."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.report.drawing import GREY, INK, panels
from imustride.report.season_words import unit_of

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from imustride.report.amounts import Amounts
    from imustride.season_results import Course

HEIGHT_IN, BELOW_IN = 0.64, 0.24
MOST_NUMBERS = 24  # sessions whose number of runs has room below the point
DATES = 3
ROOM_BELOW = 0.15  # of the height, for the number below the lowest point


def _unit(course: Course) -> str:
    """Short times in milliseconds: their axis has no room for decimals."""
    unit = unit_of(course)
    return "ms" if unit == "s" and all(abs(point.level) < 1.0 for point in course.points) else unit


def draw_course(course: Course, amounts: Amounts, changed: Mapping[dt.date, int], name: str) -> Figure:
    """Draw a course that has points.

    Parameters
    ----------
    course : Course
    amounts : Amounts
    changed : mapping of date to int
        Days from which something beside the skating was otherwise, with the number that stands for it.
    name : str
        Makes the identifiers inside the picture reproducible.
    """
    unit = _unit(course)
    shown = amounts.shown(unit)
    with panels(name, 1, HEIGHT_IN, below_in=BELOW_IN) as (drawn, (axes,)):
        days = np.array([point.date.toordinal() for point in course.points], dtype=float)
        level, low, high = (
            shown.per_unit * np.array([getattr(point, field) for point in course.points])
            for field in ("level", "band_low", "band_high")
        )
        if course.kind == "asymmetry":
            axes.axhline(0.0, color=GREY, linewidth=0.8)
        axes.vlines(days, low, high, color=INK, linewidth=1.4)
        axes.plot(days, level, linestyle="none", marker="o", markersize=4, color=INK)
        _apart(axes, course, shown.per_unit)
        _steps(axes, course, days, level)
        _changes(axes, changed)
        _dates(axes, course)
        if len(days) <= MOST_NUMBERS:
            _numbers(axes, course, days, np.where(np.isfinite(low), low, level))
        axes.margins(x=0.04, y=0.1)
        bottom, top = axes.get_ylim()
        axes.set_ylim(bottom - ROOM_BELOW * (top - bottom), top)
        axes.locator_params(axis="y", nbins=3, steps=[1, 2, 5, 10])
        axes.yaxis.set_major_formatter(lambda value, _: _tick(value, amounts))
        axes.set_title(amounts.unit(unit), loc="left", fontsize=9)
    return drawn


def _apart(axes: Axes, course: Course, per_unit: float) -> None:
    """Sessions that were measured otherwise, as crosses without a band."""
    found = [one for one in course.apart if one.word == "shown apart" and np.isfinite(one.level)]
    days = [one.date.toordinal() for one in found]
    axes.plot(
        days, [per_unit * one.level for one in found], linestyle="none", marker="x", markersize=5, color=GREY
    )


def _steps(axes: Axes, course: Course, days: np.ndarray, level: np.ndarray) -> None:
    """Both levels of a real change."""
    if course.verdict != "real change":
        return
    begin, end = (course.judged[name].toordinal() for name in ("step_from", "step_to"))
    inside = (days >= begin) & (days <= end)
    for part in (days < begin, inside, days > end):
        if part.any():
            other = inside if part is inside else ~inside
            axes.hlines(level[other].mean(), days[part].min(), days[part].max(), color=INK, linewidth=0.8)


def _changes(axes: Axes, changed: Mapping[dt.date, int]) -> None:
    for day, number in changed.items():
        axes.axvline(day.toordinal(), color=GREY, linewidth=1.0, linestyle=":", zorder=0)
        axes.annotate(
            str(number),
            (day.toordinal(), 1.0),
            (0, 1),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            ha="center",
            va="bottom",
        )


def _numbers(axes: Axes, course: Course, days: np.ndarray, low: np.ndarray) -> None:
    for day, bottom, point in zip(days, low, course.points, strict=True):
        axes.annotate(
            str(point.runs), (day, bottom), (0, -2), textcoords="offset points", ha="center", va="top"
        )


def _dates(axes: Axes, course: Course) -> None:
    """First and last day, and one between where there is room."""
    days = sorted({point.date for point in course.points})
    places = np.unique(np.linspace(0, len(days) - 1, DATES).round().astype(int))
    shown = [days[place] for place in places]
    axes.set_xticks([day.toordinal() for day in shown], [str(day) for day in shown])
    labels = axes.get_xticklabels()
    labels[0].set_horizontalalignment("left")
    labels[-1].set_horizontalalignment("right" if len(shown) > 1 else "left")


def _tick(value: float, amounts: Amounts) -> str:
    return f"{value:g}".replace(".", amounts.say.decimal).replace("-", "\N{MINUS SIGN}")
