"""``imustride calibrate positions``: an accelerometer from static positions on a table."""

from __future__ import annotations

import click

from imustride.cli.bench import BenchOptions, bench_options, finish
from imustride.cli.talk import Talk, talk_options


@click.command(
    short_help="Accelerometer (and gyroscope) from static positions.",
    epilog="Example: imustride calibrate positions table.csv --device S041 --columns columns.toml --latitude 60",
)
@click.argument("file", metavar="FILE")
@bench_options
@talk_options
def positions(talk: Talk, file: str, *, options: BenchOptions, dry_run: bool) -> None:
    """Find bias, scale and skew of an accelerometer from static positions in FILE (FILE.h5#/group for HDF5).

    Hold each axis up and down, and the sensor slanted in between: 12 or more positions of 3 s, set by hand, on a firm
    table. Six positions on the faces of a square housing will do, too. Turned by hand between the positions, the
    gyroscope is calibrated along with it.
    """
    from imustride.calibrating import calibrate_positions

    bench, times_s = options.bench(talk, file, needs_gravity=True), options.times_s()
    talk.progress(f"reading {file}")
    finish(talk, calibrate_positions(bench, times_s), options, dry_run=dry_run)
