"""How every picture looks, and its bytes as a file: always the same for the same picture."""

from __future__ import annotations

import io
import warnings
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


@dataclass(frozen=True, slots=True)
class Foot:
    """How a foot looks in every picture: never by colour alone."""

    letter: str
    colour: str
    marker: str
    dash: str


# Contrast at least 3 to 1 against white and against each other, for any colour vision.
FEET = {"left": Foot("L", "#003F6B", "o", "-"), "right": Foot("R", "#E06C00", "s", "--")}
INK = "#222222"
PALE = "#D9D9D9"  # areas that say nothing a line or a letter does not say
GREY = "#767676"  # what carries meaning: 4.5 to 1 on white
LEFT_IN, RIGHT_IN, TITLE_IN = 0.55, 0.1, 0.27
PNG_DPI = 200
LETTERS = "font-size: 9px; font-family: sans-serif"  # of nearly every text
WIDTH_IN = 4.2  # the text is still read on a telephone 360 points wide

STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "path.simplify": False,
    "text.parse_math": False,
}


@contextmanager
def panels(
    name: str, count: int, height_in: float, below_in: float = 0.55, own_x_in: float = 0.0
) -> Iterator[tuple[Figure, list[Axes]]]:
    """Give a figure of the page's width with panels below each other, in the page's style.

    Places are set, not searched for: a layout engine would draw everything twice.

    Parameters
    ----------
    name : str
        Makes the identifiers inside the picture reproducible.
    count : int
        Number of panels.
    height_in : float
        Height of a panel [inch]; its title takes `TITLE_IN` above it.
    below_in : float
        Room for numbers and words below the last panel [inch].
    own_x_in : float
        Room for the numbers of every panel's own x axis [inch]; zero: they share one.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context({**STYLE, "svg.hashsalt": name}):
        each_in = height_in + TITLE_IN + own_x_in
        total_in = below_in + count * each_in - own_x_in
        drawn = Figure(figsize=(WIDTH_IN, total_in))
        width = (WIDTH_IN - LEFT_IN - RIGHT_IN) / WIDTH_IN
        axes: list[Axes] = []
        for place in range(count)[::-1]:
            bottom = (below_in + place * each_in) / total_in
            box = (LEFT_IN / WIDTH_IN, bottom, width, height_in / total_in)
            axes.append(drawn.add_axes(box, sharex=axes[0] if axes and not own_x_in else None))
        for panel in axes[:-1]:
            panel.tick_params(labelbottom=bool(own_x_in))
        yield drawn, axes


def saved(drawn: Figure, name: str, kind: Literal["svg", "png"]) -> bytes:
    """Return a figure as the bytes of a file, always the same for the same figure.

    Parameters
    ----------
    drawn : Figure
    name : str
        Makes the identifiers inside an SVG reproducible.
    kind : "svg" or "png"
    """
    from matplotlib import rc_context

    dated = {"Date": None, "Creator": None, "Format": None, "Type": None}
    buffer = io.BytesIO()
    with rc_context({**STYLE, "svg.hashsalt": name}), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")  # the reader's fonts draw the letters of an SVG
        drawn.savefig(
            buffer, format=kind, dpi=PNG_DPI, metadata=dated if kind == "svg" else {"Software": None}
        )
    return buffer.getvalue()


def key(drawn: Figure, entries: list[tuple[str, dict[str, Any]]]) -> None:
    """Write what the looks in a figure mean, in one line at its foot."""
    from matplotlib.lines import Line2D

    handles = [Line2D([], [], solid_capstyle="butt", label=words, **look) for words, look in entries]
    drawn.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(0, 0),
        ncols=max(1, len(handles)),
        frameon=False,
        borderaxespad=0,
        borderpad=0.2,
        handlelength=1.3,
        handletextpad=0.4,
        columnspacing=0.9,
    )


def bare(axes: Axes, *sides: str) -> None:
    """Take away spines that carry no scale, and the marks on them."""
    for side in sides:
        axes.spines[side].set_visible(False)
    axes.tick_params(left="left" not in sides, bottom="bottom" not in sides)
