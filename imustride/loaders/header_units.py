"""Units as headers write them, and whether they say what was declared."""

from __future__ import annotations

import re
import unicodedata

# By kind of quantity and unit: how it is written, as `_plain` leaves it. Units that cannot be declared are known
# too, so that a header in mg is not read as g.
WRITTEN: dict[str, dict[str, str]] = {
    "time": {
        "s": "s sec secs second seconds",
        "ms": "ms msec millis millisecond milliseconds",
        "us": "us μs usec micros microsecond microseconds",
        "ns": "ns nsec nanosecond nanoseconds",
        "samples": "samples sample count counts counter",
    },
    "acceleration": {
        "m/s^2": "m/s2 m/s/s ms-2 m/sec2 mps2 meter/s2 metre/s2",
        "g": "g gn g0 gravity",
        "mg": "mg",
        "mm/s^2": "mm/s2",
        "cm/s^2": "cm/s2 gal",
        "counts": "counts count lsb raw digits digit adc",
    },
    "angular velocity": {
        "deg/s": "deg/s dps °/s degs-1 °s-1 deg/sec degree/s degrees/s degs/s degrees/sec",
        "rad/s": "rad/s rads-1 rad/sec radian/s radians/s rps",
        "mdeg/s": "mdps mdeg/s",
        "counts": "counts count lsb raw digits digit adc",
    },
}
UNITS = {
    kind: {word: unit for unit, words in known.items() for word in words.split()}
    for kind, known in WRITTEN.items()
}
BRACKETED = re.compile(r"\s*[(\[{<]\s*([^()\[\]{}<>]*?)\s*[)\]}>]\s*$")
TIME_ENDING = re.compile(r"_(s|ms|us|ns)$", re.IGNORECASE)


def bare(name: str) -> str:
    """Name of a column without a unit in brackets behind it.

    Examples
    --------
    >>> bare("acc x [m/s^2]")
    'acc x'
    """
    return BRACKETED.sub("", name).strip() or name


def written_unit(name: str) -> str:
    """Text in brackets behind a name, empty without one."""
    match = BRACKETED.search(name)
    return match[1] if match else ""


def unit_of(kind: str, text: str) -> str | None:
    """Unit that a text means for a kind of quantity, None where it is none that is known.

    Examples
    --------
    >>> unit_of("acceleration", "m·s⁻²"), unit_of("angular velocity", "°/s"), unit_of("time", "V")
    ('m/s^2', 'deg/s', None)
    """
    return UNITS[kind].get(_plain(text))


def said_unit(kind: str, name: str, below: str) -> tuple[str, str | None]:
    """Return what a header says of a column's unit, as written and as it is declared (None: not known).

    Parameters
    ----------
    kind : {"time", "acceleration", "angular velocity"}
    name : str
        The column's name.
    below : str
        Cell of a row of units under the name, empty without one.
    """
    written = below or written_unit(name)
    if not written and kind == "time" and (ending := TIME_ENDING.search(name)):
        written = ending[1]
    return written, unit_of(kind, written)


def is_unit_row(kinds: list[str], cells: list[str]) -> bool:
    """Tell whether the cells under the wanted names are units, with or without brackets, and nothing else.

    Parameters
    ----------
    kinds : list of str
        Quantity of each wanted column.
    cells : list of str
        Its cell.
    """
    units = [(kind, cell.strip(" ()[]{}<>")) for kind, cell in zip(kinds, cells, strict=True)]
    given = [(kind, cell) for kind, cell in units if cell]
    return bool(given) and all(unit_of(kind, cell) for kind, cell in given)


def _plain(text: str) -> str:
    """One way to write a unit: no case, blanks, dots, carets; raised digits as digits."""
    text = text.translate(str.maketrans("º˚µ", "°°μ", "·⋅×"))
    text = unicodedata.normalize("NFKC", text).casefold().replace("\u2212", "-")
    return re.sub(r"[\s^*.\[\]{}()]", "", text)
