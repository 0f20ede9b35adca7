"""``imustride calibrate turns``: a gyroscope from known turns."""

from __future__ import annotations

import click

from imustride.cli.bench import BenchOptions, bench_options, finish
from imustride.cli.talk import Talk, talk_options


@click.command(
    short_help="Gyroscope from known turns.",
    epilog="Example: imustride calibrate turns turns.csv --device S041 --columns columns.toml",
)
@click.argument("file", metavar="FILE")
@click.option(
    "--turn-deg",
    type=click.FloatRange(45, 36000),
    default=360.0,
    show_default=True,
    help="Angle of each turn against a stop.",
)
@click.option("--rpm", type=click.FloatRange(0, min_open=True), help="A turntable's turns a minute instead.")
@bench_options
@talk_options
def turns(
    talk: Talk, file: str, turn_deg: float, rpm: float | None, *, options: BenchOptions, dry_run: bool
) -> None:
    """Find bias, scale and skew of a gyroscope from known turns in FILE (FILE.h5#/group for HDF5).

    About each axis of the housing: rest for 2 s, a whole turn against a stop, rest for 2 s, better twice, once each
    way. Or a turntable at a steady rate about each axis, and rest before or behind. Without known turns, static
    positions in the same recording serve, by what the gyroscope shows between them.
    """
    from imustride.calibrating import calibrate_turns

    bench, times_s = options.bench(talk, file, needs_gravity=False), options.times_s()
    talk.progress(f"reading {file}")
    finish(talk, calibrate_turns(bench, turn_deg, rpm, times_s), options, dry_run=dry_run)
