"""How much of the contact the blade glides before it pushes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.edge_change import edge_changes
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push, shape (k,); empty where the blade does not change its edge in the contact.

    The push-off proper starts with the extension of the leg (Allinger and van den Bogert 1997), which skates
    cannot see. What they see is the edge change before it: a blade glides on its outside edge or flat, and pushes on its
    inside edge. Zero is the own stance: a foot that stands tilted changes its edge a little earlier or later, so left and
    right are not compared.
    """
    change_s = edge_changes(view).time_s
    return np.asarray((change_s - view.on_s) / (view.off_s - view.on_s))


METRIC = Metric(
    name="glide_share_ratio",
    unit="",
    number=1,
    definition=(
        "share of the contact from blade-on to the edge change: the last change from the outside (1 degree or more) to "
        "the inside edge before the largest edge angle; empty, flag no_edge_change, where the contact has none. Not the "
        "start of leg extension (Allinger and van den Bogert 1997), which skates cannot see"
    ),
    source="Iizuka and Tomita 2024 (Edge-flip), doi 10.7717/peerj.18102; roll crossing zero: our reading",
    symmetry="none",
    measure=measure,
)
