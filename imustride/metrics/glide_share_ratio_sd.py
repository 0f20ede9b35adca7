"""How much of the contact the blade glides before it pushes: standard deviation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.along_path import BLADE_OFF_SD_S, BLADE_ON_SD_S
from imustride.metrics.edge_change import EDGE_SD_RAD, edge_changes
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push, shape (k,); empty where there is no share."""
    changes = edge_changes(view)
    contact_s = view.off_s - view.on_s
    share = (changes.time_s - view.on_s) / contact_s
    change_sd_s = EDGE_SD_RAD / np.maximum(changes.rate_rad_s, 1e-3)
    spread_s = np.sqrt(change_sd_s**2 + ((1 - share) * BLADE_ON_SD_S) ** 2 + (share * BLADE_OFF_SD_S) ** 2)
    return np.asarray(spread_s / contact_s)


METRIC = Metric(
    name="glide_share_ratio_sd",
    unit="",
    number=1,
    definition=(
        "standard deviation of glide_share_ratio: edge angle to 1 degree over the rate at which the blade tips, and the "
        "spread of blade-on and blade-off; how the skater stood in the stance is not in it"
    ),
    source="simulated spread of events and angles",
    symmetry="none",
    measure=measure,
)
