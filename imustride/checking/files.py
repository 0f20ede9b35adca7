"""Files that cannot be read, and copies of one file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome
from imustride.registry import Check

if TYPE_CHECKING:
    from collections.abc import Iterator

    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import RecordingView


def judge(view: RecordingView, limits: CheckLimits) -> Iterator[Outcome]:  # noqa: ARG001 - one signature for all
    """Judge whether every sensor has a readable file of its own."""
    limit = "a readable file of its own"
    for place, problem in view.problems.items():
        advice = "see that the sensor recorded, and copy its file again"
        yield Outcome("fail", problem, limit, advice, strain=np.inf, where=place, by_declaring=True)
    owners: dict[str, str] = {}
    for place, sensor in view.sensors.items():
        first = owners.setdefault(sensor.digest, place)
        recording = sensor.recording
        length = f"{len(recording.measured) / recording.rate_hz:.1f} s"
        if first != place:
            advice = "copy each sensor's own file"
            measured = f"the same samples as {first}"
            yield Outcome("fail", measured, limit, advice, strain=np.inf, where=place, by_declaring=True)
        else:
            yield Outcome("pass", length, limit, where=place)


CHECK = Check(
    name="file",
    title="recorded",
    order=10,
    of="recording",
    question="Did every sensor record, and is every file its own?",
    source="the files themselves",
    mended_by="recording",
    judge=judge,
)
