"""TOML of somebody else's, parsed in bounded time and depth."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable

# Our longest lines name the files of eleven sensors; our deepest value is a matrix in a table. The parser's time for
# a line grows with the square of the parts of its key, a.b.c.
MAX_LINE = 10_000
MAX_DOTS = 200
MAX_LEVELS = 20


def parse_toml(text: str) -> dict[str, Any]:
    """Parse TOML of somebody else's in bounded time.

    Raises
    ------
    tomllib.TOMLDecodeError
        Also for lines and levels beyond what a file of ours could have, and for numbers too long to be one.
    """
    for number, line in enumerate(text.splitlines(), 1):
        if len(line) > MAX_LINE or line.count(".") > MAX_DOTS:
            message = f"line {number} has more than {MAX_LINE} characters or {MAX_DOTS} dots"
            raise tomllib.TOMLDecodeError(message)
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except (ValueError, RecursionError) as error:
        raise tomllib.TOMLDecodeError(str(error)) from error
    level: list[Any] = [content]
    for _ in range(MAX_LEVELS):
        level = [entry for part in level for entry in _entries_of(part)]
        if not level:
            return content
    message = f"more than {MAX_LEVELS} levels of tables or arrays"
    raise tomllib.TOMLDecodeError(message)


def _entries_of(value: Any) -> Iterable[Any]:
    return value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
