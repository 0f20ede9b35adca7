"""The motion of both skates in one run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.attitude import Attitude, attitude
from imustride.simulation.blade import Path, path
from imustride.simulation.body import Body, body
from imustride.simulation.steps import Step, steps
from imustride.simulation.timing import SIDES, Plan, plan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.simulation.drawing import Draw


@dataclass(frozen=True, eq=False, slots=True)
class Foot:
    """Motion of one skate on the grid."""

    steps: tuple[Step, ...]
    attitude: Attitude
    path: Path

    @property
    def pivots(self) -> dict[int, bool]:
        """Whether the push of each order pivots on the toe."""
        return {step.contact.order: step.pivots for step in self.steps}


@dataclass(frozen=True, eq=False, slots=True)
class Motion:
    """Motion of the body and both skates, true time from 0, earth frame x along the path's start."""

    plan: Plan
    body: Body
    feet: dict[str, Foot]

    @property
    def middle_m(self) -> NDArray[np.float64]:
        """Midpoint of the feet, shape (n, 3)."""
        return np.asarray((self.feet["left"].path.place_m + self.feet["right"].path.place_m) / 2)


def move(draw: Draw) -> Motion:
    """Work out the motion of a run from its parameters."""
    planned = plan(draw)
    carried = body(draw, planned)
    detailed = steps(draw, planned, carried)
    feet = {}
    for side in SIDES:
        turned = attitude(draw, planned, carried, detailed[side])
        feet[side] = Foot(detailed[side], turned, path(draw, planned, carried, turned, detailed[side]))
    return Motion(planned, carried, feet)
