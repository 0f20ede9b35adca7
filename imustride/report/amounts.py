"""How numbers and units are put before a reader: in the units of the trade, no finer than they are known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from imustride.report.catalogue import Catalogue

MISSING = "\N{EN DASH}"
System = Literal["metric", "imperial"]
SYSTEMS: tuple[System, ...] = ("metric", "imperial")
FOOT_M, INCH_M, MILE_PER_HOUR_M_S = (
    0.3048,
    0.0254,
    0.44704,
)  # exact: international yard and pound agreement, 1959


@dataclass(frozen=True, slots=True)
class Shown:
    """A unit on the page: its sign, how many of it make one of the tables' unit, and most decimals."""

    sign: str
    per_unit: float
    decimals: int


METRIC = {
    "s": Shown("s", 1.0, 3),
    "ms": Shown("ms", 1000.0, 0),
    "Hz": Shown("", 1.0, 2),
    "deg": Shown("°", 1.0, 1),
    "deg/s": Shown("°/s", 1.0, 0),
    "m": Shown("m", 1.0, 2),
    "across": Shown("m", 1.0, 2),
    "cm": Shown("cm", 100.0, 1),
    "m/s": Shown("m/s", 1.0, 2),
    "%": Shown("%", 1.0, 1),
    "": Shown("", 1.0, 2),
}
IMPERIAL = METRIC | {
    "m": Shown("ft", 1 / FOOT_M, 2),
    "across": Shown("in", 1 / INCH_M, 1),
    "cm": Shown("in", 1 / INCH_M, 1),
    "m/s": Shown("mph", 1 / MILE_PER_HOUR_M_S, 2),
}
LEAST_TWO_DIGITS = 3  # an uncertainty that begins with 1 or 2 keeps its second digit


def kept_decimals(uncertainty: float, most: int) -> int:
    """Return how many decimals an uncertainty leaves a meaning to, at most `most`; fewer than none: tens, hundreds.

    Parameters
    ----------
    uncertainty : float
        In the unit shown; not above zero or not finite: unknown, so `most`.
    most : int
    """
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return most
    place = math.floor(math.log10(uncertainty))
    if int(uncertainty / 10.0**place + 1e-9) < LEAST_TWO_DIGITS:
        place -= 1
    return min(-place, most)


@dataclass(frozen=True, slots=True)
class Amounts:
    """Numbers in the units and with the decimal sign of a reader."""

    say: Catalogue
    system: System = "metric"

    def shown(self, of: str) -> Shown:
        """Return how a unit of the tables is shown; one nobody foresaw as it is."""
        table = IMPERIAL if self.system == "imperial" else METRIC
        return table.get(of, Shown(of, 1.0, 3))

    def unit(self, of: str) -> str:
        """Return the sign of a unit of the tables."""
        return self.shown(of).sign

    def number(self, value: float, of: str, within: float = math.nan, *, sign: bool = False) -> str:
        """Return a value without its unit, as fine as `within` (its uncertainty) allows; a dash where missing.

        Parameters
        ----------
        value, within : float
            In the unit of the tables.
        of : str
            That unit; ``ms``: of a column in s; ``across`` and ``cm``: of a column in m.
        sign : bool
            Show a plus too.
        """
        if not math.isfinite(value):
            return MISSING
        shown = self.shown(of)
        decimals = kept_decimals(within * shown.per_unit, shown.decimals)
        rounded = round(value * shown.per_unit, decimals)
        text = format(abs(rounded), f".{max(decimals, 0)}f").replace(".", self.say.decimal)
        if rounded == 0:
            return text
        return ("\N{MINUS SIGN}" if rounded < 0 else "+" if sign else "") + text

    def chosen(self, value: float, of: str) -> str:
        """Return a number that somebody chose or laid out, without its unit and without idle zeros."""
        text = self.number(value, of)
        return text.rstrip("0").rstrip(self.say.decimal) if self.say.decimal in text else text

    def amount(self, value: float, of: str, within: float = math.nan, *, sign: bool = False) -> str:
        """Return a value with its unit; a dash where missing."""
        text = self.number(value, of, within, sign=sign)
        return text if text == MISSING else self.with_unit(text, of)

    def with_unit(self, text: str, of: str) -> str:
        """Set the unit behind a number, or several of them."""
        unit = self.unit(of)
        close = "" if unit.startswith("°") else "\N{NO-BREAK SPACE}"
        return f"{text}{close}{unit}" if unit else text

    def between(self, low: float, high: float, of: str, *, sign: bool = True) -> str:
        """Return an interval with its unit, as fine as its half width allows; a dash where missing."""
        if not (math.isfinite(low) and math.isfinite(high)):
            return MISSING
        within = (high - low) / 2
        ends = (self.number(end, of, within, sign=sign) for end in (low, high))
        return self.with_unit(self.say("interval", low=next(ends), high=next(ends)), of)
