"""How long the blade glides before the leg extends."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.metrics.extension import glide_before_push
from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one time a push [s], shape (k,); empty where neither knee nor edge shows the start of the push."""
    return glide_before_push(view)[0]


METRIC = Metric(
    name="glide_before_extension_s",
    unit="s",
    number=1,
    definition=(
        "from blade-on to the start of leg extension: the last instant in the contact at which knee flexion is within a tenth of its fall from the largest value to blade-off; with skates only, to the edge change, where there is one (column push_start_by)"
    ),
    source="Allinger and van den Bogert 1997, Med. Sci. Sports Exerc. 29:279-286; edge change: Iizuka and Tomita 2024, doi 10.7717/peerj.18102",
    symmetry="difference",
    measure=measure,
    places=("shank", "thigh"),
)
