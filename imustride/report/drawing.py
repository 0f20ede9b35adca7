"""A figure as a piece of a page: vector graphics inline, the same bytes for the same picture."""

from __future__ import annotations

import io
import re
import warnings
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

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
PALE = "#D9D9D9"
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
def figure(name: str, height_in: float) -> Iterator[Figure]:
    """Give an empty figure of the page's width, drawn in the page's style.

    Parameters
    ----------
    name : str
        Makes the identifiers inside the picture reproducible.
    height_in : float
        Height [inch].
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context({**STYLE, "svg.hashsalt": name}):
        yield Figure(figsize=(WIDTH_IN, height_in), layout="constrained")


def inline_svg(drawn: Figure, name: str) -> str:
    """Return a figure as an ``svg`` element for a page.

    Parameters
    ----------
    drawn : Figure
    name : str
        Precedes every identifier, so that several pictures live on one page.

    Returns
    -------
    str
    """
    buffer = io.StringIO()
    with warnings.catch_warnings():  # the reader's fonts draw the letters, not the ones measured with here
        warnings.filterwarnings("ignore", message="Glyph")
        drawn.savefig(
            buffer, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
        )
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<!--.*?-->\n?|<metadata>.*?</metadata>\n?", "", text, flags=re.DOTALL)
    text = re.sub(r'(id="|href="#|url\(#)', rf"\g<1>{name}-", text)
    return re.sub(
        r'<svg [^>]*viewBox="([^"]*)"[^>]*>', r'<svg viewBox="\1" aria-hidden="true">', text, count=1
    )


def bare(axes: Axes, *sides: str) -> None:
    """Take away spines that carry no scale, and the marks on them."""
    for side in sides:
        axes.spines[side].set_visible(False)
    axes.tick_params(left="left" not in sides, bottom="bottom" not in sides)
