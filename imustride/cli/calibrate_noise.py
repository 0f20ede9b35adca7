"""``imustride calibrate noise``: what a sensor's noise is made of, from hours at rest."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from imustride.cli.lone_file import FileOptions, file_options
from imustride.cli.talk import Talk, columns, dry_run_option, talk_options

if TYPE_CHECKING:
    from collections.abc import Sequence

# How figures are shown: unit of the signal to (factor, unit) for noise density, bias instability, random walk.
MICRO_G = 1e6 / 9.80665
DEG_H = math.degrees(3600)
SHOWN = {
    "m/s^2": ((MICRO_G, "ug/sqrt(Hz)"), (MICRO_G, "ug"), (60 * MICRO_G, "ug/sqrt(h)")),
    "rad/s": ((math.degrees(1e3), "mdeg/s/sqrt(Hz)"), (DEG_H, "deg/h"), (60 * DEG_H, "deg/h/sqrt(h)")),
    "counts": ((1.0, "counts/sqrt(Hz)"), (1.0, "counts"), (60.0, "counts/sqrt(h)")),
}


@click.command(
    short_help="Noise density, bias instability, random walk.",
    epilog="Example: imustride calibrate noise night.csv --device S041 --columns columns.toml --out noise/S041",
)
@click.argument("file", metavar="FILE")
@click.option("--device", default="unknown", help="Name of the device, for the results.")
@click.option("--calibration", type=click.Path(path_type=Path), help="Applied first; gives counts a unit.")
@click.option("--start-s", type=float, default=-math.inf, help="Use the file from this time on.")
@click.option("--end-s", type=float, default=math.inf, help="Use the file up to this time.")
@click.option("--out", type=click.Path(path_type=Path), help="New folder for noise.json, .csv and .svg.")
@file_options
@dry_run_option
@talk_options
def noise(
    talk: Talk,
    file: str,
    device: str,
    calibration: Path | None,
    start_s: float,
    end_s: float,
    out: Path | None,
    *,
    file_options: FileOptions,
    dry_run: bool,
) -> None:
    """Measure the noise of a sensor that lay still for hours in FILE (FILE.h5#/group for HDF5).

    Allan deviation with 95 % limits for each axis, and from it noise density (as read at 1 s, two-sided; times 1.41 is the
    one-sided density of data sheets), bias instability (the lowest point / 0.664) and rate random walk (IEEE Std 952).
    """
    from imustride import noise_at_rest, noise_results
    from imustride.session_checks import split_group

    written, group = split_group(file)
    path = Path(written)
    if out is not None:
        noise_results.refuse_used(out)
    sensor, notes = file_options.sensor(path, group, device)
    talk.progress(f"reading {file}")
    report = noise_at_rest.measure_file(
        noise_at_rest.LongFile(path, group, sensor, start_s, end_s, calibration)
    )
    found = noise_results.as_data(report)
    for note in (*notes, *report.notes):
        talk.progress(f"note: {note}")
    if out is not None and not dry_run:
        noise_results.write_noise(report, path, out)
    talk.data({**found, "out": None if dry_run else out})
    talk.lines(_readable(found))
    if out is not None:
        talk.lines(
            ["", f"nothing written (dry run); the folder would be {out}" if dry_run else f"written: {out}"]
        )


def _readable(found: dict[str, Any]) -> list[str]:
    hours = (found["used_to_s"] - found["used_from_s"]) / 3600
    lines = [
        f"{found['device']}: {hours:.2f} h at rest, {found['rate_hz']:.2f} Hz, {found['samples_lost']} samples lost"
    ]
    for sensor in ("accelerometer", "gyroscope"):
        axes = {axis: found[f"{sensor}_{axis}"] for axis in "xyz"}
        density, bias, walk = SHOWN[axes["x"]["unit"]]
        heading = (
            sensor,
            f"noise density [{density[1]}]",
            f"bias instability [{bias[1]}]",
            "95 % interval",
            "reached at [s]",
            f"rate random walk [{walk[1]}]",
        )
        rows = [
            (
                axis,
                _figure(figures["noise_density"], density[0]),
                _figure(figures["bias_instability"], bias[0], with_sd=False),
                _interval(figures["bias_instability"], bias[0]),
                _seconds(figures["bias_instability"]["reached_at_s"]),
                _figure(figures["rate_random_walk"], walk[0]),
            )
            for axis, figures in axes.items()
        ]
        lines += ["", *columns([heading, *rows], right=(1, 2, 3, 4, 5))]
    return [*lines, "", *_remarks(found)]


def _remarks(found: dict[str, Any]) -> list[str]:
    """Say what the figures do not: curves that still fall, and curves that follow no model."""
    axes = [
        (name, figures) for name, figures in found.items() if isinstance(figures, dict) and "fit" in figures
    ]
    falling = [name for name, figures in axes if figures["bias_instability"]["value"] is None]
    odd = [
        f"{name} (at {_seconds(figures['fit']['worst_at_s'])} s)"
        for name, figures in axes
        if figures["fit"]["worst_ratio"] > WORST_RATIO
    ]
    lines = []
    if falling:
        lines.append(
            f"the curve still falls at its end, so only a limit is known: {_listed(falling)}; record longer"
        )
    if odd:
        lines.append(f"does not follow the model, did the table shake? {_listed(odd)}")
    return lines


# A curve that leaves the fit by more than this beyond its own interval was shaped by something else.
WORST_RATIO = 1.15


def _listed(names: Sequence[str]) -> str:
    return ", ".join(name.replace("_", " ") for name in names)


def _figure(figure: dict[str, Any], factor: float, *, with_sd: bool = True) -> str:
    if figure["value"] is None:
        return "-" if figure["below"] is None else f"below {factor * figure['below']:.3g}"
    text = f"{factor * figure['value']:.3g}"
    return f"{text} +- {factor * figure['sd']:.1g}" if with_sd else text


def _interval(figure: dict[str, Any], factor: float) -> str:
    if figure["low"] is None:
        return "-"
    return f"{factor * figure['low']:.3g} to {factor * figure['high']:.3g}"


def _seconds(value: float | None) -> str:
    return "-" if value is None else f"{value:.3g}"
