"""The picture of a sensor's noise: Allan deviation of six axes, with the slopes that were fitted."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.report.drawing import INK, PALE, STYLE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from numpy.typing import NDArray

WIDTH_IN, HEIGHT_IN = 10.0, 6.6
CURVE, FIT, GUIDE = "#003F6B", "#E06C00", "#6B6B6B"


@dataclass(frozen=True, eq=False, slots=True)
class Panel:
    """One axis.

    Parameters
    ----------
    title, unit : str
    tau_s : ndarray, shape (n,)
    deviation, low, high, fitted : ndarray, shape (n,)
        In `unit`; `fitted` is NaN where the fit does not reach.
    slopes : sequence of (str, float, float, float)
        Straight lines: label, slope, averaging time [s] and deviation of a point of it.
    lowest : tuple of float or None
        Averaging time and deviation of the lowest point.
    """

    title: str
    unit: str
    tau_s: NDArray[np.float64]
    deviation: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    fitted: NDArray[np.float64]
    slopes: Sequence[tuple[str, float, float, float]]
    lowest: tuple[float, float] | None


def noise_picture(title: str, panels: Sequence[Panel]) -> str:
    """Draw the Allan deviations of a sensor, three axes in a row.

    Parameters
    ----------
    title : str
    panels : sequence of Panel

    Returns
    -------
    str
        A whole SVG file; equal panels give equal text.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    rows = -(-len(panels) // 3)
    with rc_context({**STYLE, "svg.hashsalt": "noise", "font.size": 8}):
        drawn = Figure(figsize=(WIDTH_IN, 0.5 + HEIGHT_IN / 2 * rows))
        places = drawn.subplots(rows, 3, sharex=True, sharey="row", squeeze=False)
        drawn.subplots_adjust(
            left=0.085,
            right=0.985,
            top=1 - 0.6 / drawn.get_figheight(),
            bottom=0.09,
            hspace=0.22,
            wspace=0.08,
        )
        drawn.suptitle(title, x=0.085, ha="left", fontsize=10)
        for place, (axes, panel) in enumerate(zip(places.ravel(), panels, strict=True)):
            _draw(axes, panel, with_legend=place == 0)
            if place % 3 == 0:
                axes.set_ylabel(f"Allan deviation [{panel.unit}]")
            if place >= 3 * (rows - 1):
                axes.set_xlabel("averaging time [s]")
        buffer = io.StringIO()
        drawn.savefig(
            buffer, format="svg", metadata={"Date": None, "Creator": None, "Title": title, "Type": None}
        )
    return buffer.getvalue()


def _draw(axes: Axes, panel: Panel, *, with_legend: bool) -> None:
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.fill_between(panel.tau_s, panel.low, panel.high, color=PALE, linewidth=0, label="95 % interval")
    bottom, top = panel.low.min() / 1.5, panel.high.max() * 1.5
    for label, slope, tau_s, deviation in panel.slopes:
        line = deviation * (panel.tau_s / tau_s) ** slope
        shown = (line > bottom) & (line < top)
        if not shown.any():
            continue
        axes.plot(panel.tau_s[shown], line[shown], color=GUIDE, linewidth=0.8, linestyle=(0, (5, 3)))
        at = int(np.flatnonzero(shown)[-1 if slope > 0 else 0])
        axes.annotate(
            label,
            (panel.tau_s[at], line[at]),
            textcoords="offset points",
            xytext=(-3 if slope > 0 else 4, 5),
            ha="right" if slope > 0 else "left",
            color=GUIDE,
        )
    axes.plot(
        panel.tau_s, panel.deviation, color=CURVE, marker="o", markersize=2.5, linewidth=1, label="measured"
    )
    axes.plot(panel.tau_s, panel.fitted, color=FIT, linewidth=1.4, linestyle="-.", label="fit")
    if panel.lowest is not None:
        axes.plot(*panel.lowest, marker="v", markersize=6, color=INK, linestyle="none", label="lowest point")
    axes.set_title(panel.title, loc="left", fontsize=9)
    axes.grid(visible=True, which="major", color="#EEEEEE", linewidth=0.6)
    axes.set_ylim(bottom, top)
    for scale in (axes.xaxis, axes.yaxis):
        scale.set_major_formatter(lambda value, _: f"{value:g}")
    if with_legend:
        axes.legend(frameon=False, fontsize=7, loc="upper right")
