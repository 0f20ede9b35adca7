"""``imustride metrics``: what the columns mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from imustride.cli.talk import Talk, talk_options

if TYPE_CHECKING:
    from imustride.registry import Metric


@click.command(short_help="What the columns mean.", epilog="Example: imustride metrics")
@talk_options
def metrics(talk: Talk) -> None:
    """List the measured columns of pushes.csv: unit, places that must carry a sensor, definition and its number, source."""
    from imustride.registry import methods

    found: list[Metric] = list(methods("metrics").values())
    told = ("name", "unit", "number", "places", "definition", "source", "symmetry")
    talk.data([{name: getattr(metric, name) for name in told} for metric in found])
    for metric in found:
        talk.lines(
            [
                f"{metric.name} [{metric.unit or '1'}], definition {metric.number}",
                f"    {metric.definition}",
                f"    sensors: {' and '.join(metric.places)}",
                f"    source: {metric.source}",
            ]
        )
