"""What an analysis yields: records that reports and exports read and never change."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from imustride.kinematics import Clock, Kinematics
    from imustride.session import Session


@dataclass(frozen=True, eq=False, slots=True)
class RunResult:
    """One analysed run.

    `pushes` has the columns of ``pushes.csv``. `kinematics` and `clocks` are keyed by side.
    An unusable run carries the reason in one sentence and stays out of symmetry; a run whose files
    could not be read is neither readable nor usable.
    """

    name: str
    pushes: pd.DataFrame
    kinematics: Mapping[str, Kinematics]
    clocks: Mapping[str, Clock]
    usable: bool
    reason: str = ""
    notes: tuple[str, ...] = ()
    readable: bool = True


@dataclass(frozen=True, eq=False, slots=True)
class SessionResult:
    """One analysed session: the three tables of the contract, the runs and where it all came from."""

    session: Session
    runs: tuple[RunResult, ...]
    pushes: pd.DataFrame
    runs_table: pd.DataFrame
    symmetry: pd.DataFrame
    provenance: Mapping[str, Any]
    notes: tuple[str, ...] = field(default=())
