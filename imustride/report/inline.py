"""A figure as a piece of a page: vector graphics inline, as few bytes as it takes, the same for the same picture."""

from __future__ import annotations

import re
from collections import Counter
from string import ascii_lowercase
from typing import TYPE_CHECKING

from imustride.report.drawing import LETTERS, saved

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.figure import Figure

# Parts of a point: of a place on the picture (a tenth is a fifth of a pixel at the page's widest), of a mark's own shape.
PLACES, SHAPES = 10, 100


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
    text = saved(drawn, name, "svg").decode()
    text = text[text.index("<svg") :]
    text = re.sub(r"<!--.*?-->\n?|<metadata>.*?</metadata>\n?", "", text, flags=re.DOTALL)
    text = re.sub(r'<g id="[^"]*"', "<g", text)  # nothing refers to a group
    text = re.sub(r"font-family: [^;\"]*", "font-family: sans-serif", text)
    text = re.sub(r"\d+\.\d{3,}", _hundredth, text)  # of a point: finer than any screen or printer
    text = re.sub(r"\s*\n\s*", _joined, text)
    text = re.sub(r'<path d="M [-\d.]+ [-\d.]+ "[^>]*/>', "", text)  # a line of one point is not seen
    text = re.sub(r'(<path (id="[^"]*" )?)d="([^"]*)"', _path, text)
    text = re.sub(r'(?<= [xy]=")[-\d.]+', lambda found: f"{round(float(found[0]), 1):g}", text)
    text = re.sub(r' transform="rotate\(-0 [^"]*"', "", text)
    text = _named(text, name).replace("xlink:href", "href")
    text = re.sub(r'<g( clip-path="[^"]*")?>((?:<use [^>]*/>)+)</g>', _marks, text)
    text = _without_bare_groups(text).replace(f"{LETTERS}; ", "")
    text = _looks(text, name)
    root = rf'<svg viewBox="\1" aria-hidden="true" style="{LETTERS}">'
    return re.sub(r'<svg [^>]*viewBox="([^"]*)"[^>]*>', root, text, count=1)


def _path(found: re.Match[str]) -> str:
    per_point = SHAPES if found[2] else PLACES
    return f'{found[1]}d="{compact(found[3], per_point)}"'


def compact(path: str, per_point: int) -> str:
    """Return a path of absolute ``M``, ``L``, ``Q``, ``C`` and ``z`` with every place told from the one before.

    Parameters
    ----------
    path : str
    per_point : int
        Places are rounded to one over so much of a point; errors do not add up.
    """
    out: list[str] = []
    here = start = (0, 0)
    for letter, numbers in re.findall(r"([MLQCz])([^MLQCz]*)", path):
        if letter == "z":
            out.append("z")
            here = start
            continue
        values = [round(float(number) * per_point) for number in numbers.split()]
        steps = [value - here[place % 2] for place, value in enumerate(values)]
        here = (values[-2], values[-1])
        start = here if letter == "M" else start
        if letter == "L" and steps == [0, 0] and not out[-1].startswith("m"):
            continue
        out.append(_command(letter.lower(), steps, per_point))
    return "".join(out)


def _command(letter: str, steps: list[int], per_point: int) -> str:
    """Return a step of a path, the straight ones across and along as such."""
    if letter == "l" and 0 in steps:
        letter, steps = ("h", steps[:1]) if steps[1] == 0 else ("v", steps[1:])
    numbers = (f"{step / per_point:g}" for step in steps)
    return letter + "".join(
        number if place == 0 or number.startswith("-") else f" {number}"
        for place, number in enumerate(numbers)
    )


def _named(text: str, name: str) -> str:
    """Give identifiers short names that no other picture has."""
    short = {old: f"{name}-{place}" for place, old in enumerate(re.findall(r'\bid="([^"]*)"', text))}
    return re.sub(
        r'(\bid="|href="#|url\(#)([^")]*)', lambda found: found[1] + short.get(found[2], found[2]), text
    )


def _looks(text: str, name: str) -> str:
    """Say once, in the style sheet of the picture, what several of its lines and areas look like."""
    look = re.compile(r'(<(?:path|g|use)\b[^>]*?)(?: clip-path="([^"]*)")?(?: style="([^"]*)")?(?=/?>)')

    def style(found: re.Match[str]) -> str:
        clip = f"clip-path: {found[2]}" if found[2] else ""
        return "; ".join(filter(None, (clip, found[3])))

    number = Counter(style(found) for found in look.finditer(text))
    several = [one for one, n in number.items() if one and n > 1]
    classes = dict(zip(several, _short_names(), strict=False))

    def shown(found: re.Match[str]) -> str:
        one = classes.get(style(found))
        return f'{found[1]} class="{name}-{one}"' if one else found[0]

    rules = "".join(f".{name}-{short}{{{one}}}" for one, short in classes.items())
    return look.sub(shown, text).replace("</style>", f"{rules}</style>", 1)


def _short_names() -> Iterator[str]:
    """Give a, b, ..., z, aa, ab, ..."""
    yield from ascii_lowercase
    for first in _short_names():
        yield from (first + second for second in ascii_lowercase)


def _without_bare_groups(text: str) -> str:
    """Take away groups that say nothing."""
    kept: list[bool] = []

    def shown(tag: re.Match[str]) -> str:
        if tag[0].endswith("/>"):
            return ""
        if tag[0] != "</g>":
            kept.append(tag[0] != "<g>")
            return tag[0] if kept[-1] else ""
        return tag[0] if kept.pop() else ""

    return re.sub(r"<g\b[^>]*>|</g>", shown, text)


def _marks(group: re.Match[str]) -> str:
    """Many marks of one look: the look said once."""
    looks = set(re.findall(r' style="[^"]*"', group[2]))
    if len(looks) != 1:
        return group[0]
    look = looks.pop()
    return f"<g{group[1] or ''}{look}>{group[2].replace(look, '')}</g>"


def _hundredth(number: re.Match[str]) -> str:
    return f"{float(number[0]):.2f}".rstrip("0").rstrip(".")


def _joined(gap: re.Match[str]) -> str:
    """What stands for a line break: nothing between elements, a space inside one."""
    return "" if gap.string[gap.start() - 1] == ">" and gap.string[gap.end() : gap.end() + 1] == "<" else " "
