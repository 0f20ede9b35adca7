"""Every picture there is, in the order of the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.report import above, leg, pace, rhythm, sides, speed, toe_turn

if TYPE_CHECKING:
    from imustride.report.picture import Picture

PICTURES: tuple[Picture, ...] = (
    rhythm.PICTURE,
    sides.PICTURE,
    speed.PICTURE,
    pace.PICTURE,
    above.PICTURE,
    toe_turn.PICTURE,
    leg.PICTURE,
    sides.BODY,
)
