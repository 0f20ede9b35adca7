"""The words of a page: one file a language, and nothing of a page's text anywhere else."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

FOLDER = Path(__file__).parent / "texts"
DEFAULT_LANGUAGE = "en"
# What a sentence names as it is written: files, codes, and numbers to be copied.
AS_WRITTEN = ("file", "log", "who", "written")
_NUMBER = re.compile(r"(?<=\d)\.(?=\d)")


@dataclass(frozen=True, eq=False, slots=True)
class Catalogue:
    """Every text of a page in one language, by dotted key.

    Parameters
    ----------
    language : str
        As HTML names it: ``en``.
    texts : mapping of str to str
    singular : tuple of int
        Numbers that take the singular.
    decimal : str
        Decimal sign.
    reasons : tuple of (pattern, str)
        How sentences of the analysis are put in this language; what matches none stays as it is.
    """

    language: str
    texts: Mapping[str, str]
    singular: tuple[int, ...]
    decimal: str
    reasons: tuple[tuple[re.Pattern[str], str], ...] = ()

    def __call__(self, key: str, **values: object) -> str:
        """Return a text with its values filled in.

        Raises
        ------
        KeyError
            If the language has no such text.
        """
        text = self.texts[key]
        return text.format(**values) if values else text

    def __contains__(self, key: str) -> bool:
        """Whether the language has such a text."""
        return key in self.texts

    def many(self, key: str, n: int, **values: object) -> str:
        """Return the text for a number of things: its key ends in ``one`` or ``many``."""
        return self(f"{key}.{'one' if n in self.singular else 'many'}", n=n, **values)

    def listed(self, parts: list[str], last: str = "list.last") -> str:
        """Join words into a list: "a, b and c", or what the text `last` says before the last."""
        if len(parts) < 2:
            return "".join(parts)
        return self(last, first=", ".join(parts[:-1]), last=parts[-1])

    def place(self, place: str) -> str:
        """Return the name of the place of a sensor."""
        return self(f"place.{place}")

    def reason(self, sentence: str) -> str:
        """Put a sentence of the analysis into this language, part by part, as far as it is known."""
        return self("list.semicolon").join(self._part(part) for part in self._parts(sentence))

    def _parts(self, sentence: str) -> Iterator[str]:
        """Cut a sentence where a known one ends, else at its semicolons."""
        rest = sentence
        while rest:
            known = next((found for pattern, _ in self.reasons if (found := pattern.match(rest))), None)
            part = known[0] if known else rest.split("; ", 1)[0]
            yield part
            rest = rest[len(part) :].removeprefix("; ")

    def _part(self, part: str) -> str:
        for pattern, text in self.reasons:
            found = pattern.fullmatch(part)
            if found:
                words = {
                    name: word if name in AS_WRITTEN else self._word(word)
                    for name, word in found.groupdict(default="").items()
                }
                return text.format(**words)
        return part

    def _word(self, word: str) -> str:
        """A word, a place or a number of the analysis in this language."""
        keys = (f"word.{word}", f"place.{word}")
        known = next((self.texts[key] for key in keys if key in self.texts), None)
        return _NUMBER.sub(self.decimal, word) if known is None else known


def languages() -> list[str]:
    """Return the languages there are."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


@cache
def catalogue(language: str = DEFAULT_LANGUAGE) -> Catalogue:
    """Read the texts of a language.

    Raises
    ------
    FileNotFoundError
        If there is no file of that language.
    """
    whole = tomllib.loads((FOLDER / f"{language}.toml").read_text(encoding="utf-8"))
    grammar, reasons = whole.pop("grammar"), whole.pop("reasons", [])
    return Catalogue(
        language,
        dict(_flat(whole)),
        tuple(grammar["singular"]),
        grammar["decimal"],
        tuple((re.compile(one["says"]), one["text"]) for one in reasons),
    )


def _flat(table: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, str]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{above}{key}.")
        else:
            yield above + key, value
