"""What an analysis yields: records that reports and exports read and never change."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from imustride.kinematics import BladePath, Clock, Kinematics
    from imustride.session import Session


@dataclass(frozen=True, eq=False, slots=True)
class RunResult:
    """One analysed run.

    `pushes` has the columns of ``pushes.csv``. `kinematics`, `clocks` and `paths` are keyed by side; `clock`
    is the place whose clock counts. An unusable run carries the reason in one sentence and stays out of symmetry;
    a run of which no file could be read is neither readable nor usable. `swapped`: left and right are
    exchanged. `problems` tell what could not be read. `gates` are positions [m] and times [s] of the
    timing system.
    """

    name: str
    pushes: pd.DataFrame
    kinematics: Mapping[str, Kinematics]
    clocks: Mapping[str, Clock]
    usable: bool
    reason: str = ""
    notes: tuple[str, ...] = ()
    readable: bool = True
    clock: str = ""
    swapped: bool = False
    problems: tuple[str, ...] = ()
    paths: Mapping[str, BladePath] = field(default_factory=dict)
    gates: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None


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
