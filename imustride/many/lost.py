"""A job that gave no result, and what is told as each one ends."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

Job = TypeVar("Job")
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Lost:
    """A job whose process went away, or that failed in a way its function does not expect; `reason` in one line."""

    reason: str


Work = Callable[[Job], Result]
# Told the place of a job in the list and its result, in the process that asked, in the order in which jobs end.
Done = Callable[[int, "Result | Lost"], None]


def unexpected(error: BaseException) -> str:
    """Return an error that nobody expected as one line."""
    return f"unexpected {type(error).__name__}: {error}; this is a fault of the program, --debug shows where"
