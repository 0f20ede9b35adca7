"""The noise of a sensor as tables, picture and files."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride import __version__
from imustride.calibration.noise_terms import term_variances
from imustride.errors import SettingsError
from imustride.exporting.digests import sha256
from imustride.exporting.swap import swapped_in

if TYPE_CHECKING:
    from pathlib import Path

    from imustride.calibration.noise_terms import Estimate, NoiseTerms
    from imustride.noise_at_rest import NoiseReport
    from imustride.report.noise_picture import Panel

AXES = tuple(f"{triad}_{axis}" for triad in ("accelerometer", "gyroscope") for axis in "xyz")
# What each coefficient is measured in, behind the unit of the signal.
OF_TERMS = {
    "noise_density": "/sqrt(Hz)",
    "flicker": "",
    "rate_random_walk": "/s/sqrt(Hz)",
    "rate_ramp": "/s",
    "quantisation": " s",
}
# The lines that are drawn: name, slope of the deviation, averaging time at which it equals its coefficient.
LINES = (
    ("quantisation", "Q: -1", -1.0, np.sqrt(3)),
    ("noise_density", "N: -1/2", -0.5, 1.0),
    ("rate_random_walk", "K: +1/2", 0.5, 3.0),
    ("rate_ramp", "R: +1", 1.0, np.sqrt(2)),
)


def as_data(report: NoiseReport) -> dict[str, Any]:
    """Everything that was found, in SI units or counts; each figure with its unit, interval or limit."""
    noise = report.noise
    found: dict[str, Any] = {
        "file": report.source,
        "device": report.device,
        "rate_hz": noise.rate_hz,
        "used_from_s": report.used_s[0],
        "used_to_s": report.used_s[1],
        "samples": noise.count,
        "samples_lost": report.lost,
        "notes": list(report.notes),
    }
    for place, name in enumerate(AXES):
        unit = report.units[place // 3]
        found[name] = {
            "unit": unit,
            "mean": float(noise.mean[place]),
            "standard_deviation": float(noise.sd[place]),
            **_axis(noise.terms[place], unit),
        }
    curve = noise.curve
    found["curve"] = {"averages": curve.averages.tolist(), "tau_s": curve.tau_s.tolist()}
    for place, name in enumerate(AXES):
        found["curve"][name] = {
            key: getattr(curve, key)[:, place].tolist()
            for key in ("deviation", "low", "high", "freedom", "exponent")
        }
    return found


def _axis(terms: NoiseTerms, unit: str) -> dict[str, Any]:
    figures: dict[str, Any] = {
        name: _figure(terms.terms[name], unit + behind) for name, behind in OF_TERMS.items()
    }
    density = terms.terms["noise_density"].value
    figures["noise_density_one_sided"] = {
        "value": None if density is None else float(np.sqrt(2) * density),
        "unit": f"{unit}/sqrt(Hz)",
    }
    figures["bias_instability"] = {
        **_figure(terms.bias_instability, unit),
        "low": terms.bias_low,
        "high": terms.bias_high,
        "reached_at_s": terms.reached_s,
    }
    figures["fit"] = {"from_s": terms.from_s, "worst_ratio": terms.worst_ratio, "worst_at_s": terms.worst_s}
    return figures


def _figure(estimate: Estimate, unit: str) -> dict[str, Any]:
    return {"value": estimate.value, "sd": estimate.sd, "below": estimate.below, "unit": unit}


def picture(report: NoiseReport) -> str:
    """Draw the deviations with the fitted slopes."""
    from imustride.report.noise_picture import noise_picture

    panels = [_panel(report, place) for place in range(len(AXES))]
    hours = (report.used_s[1] - report.used_s[0]) / 3600
    return noise_picture(
        f"{report.device}: noise at rest, {hours:.2f} h at {report.noise.rate_hz:.1f} Hz", panels
    )


def _panel(report: NoiseReport, place: int) -> Panel:
    from imustride.report.noise_picture import Panel

    curve, terms, unit = report.noise.curve, report.noise.terms[place], report.units[place // 3]
    factor = float(np.degrees(1.0)) if unit == "rad/s" else 1.0
    known = {kind: term.value for kind, term in terms.terms.items() if term.value is not None}
    fitted = (
        np.sqrt(term_variances(curve.tau_s, known).sum(axis=1))
        if known
        else np.full(len(curve.tau_s), np.nan)
    )
    slopes = [
        (label, slope, float(at_s), factor * known[kind])
        for kind, label, slope, at_s in LINES
        if kind in known
    ]
    lowest = None if terms.reached_s is None else (terms.reached_s, factor * terms.floor)
    if lowest is not None:
        slopes.append(("0.664 B: 0", 0.0, *lowest))
    return Panel(
        AXES[place].replace("_", " "),
        "deg/s" if unit == "rad/s" else unit,
        curve.tau_s,
        deviation=factor * curve.deviation[:, place],
        low=factor * curve.low[:, place],
        high=factor * curve.high[:, place],
        fitted=factor * np.where(curve.tau_s >= terms.from_s, fitted, np.nan),
        slopes=slopes,
        lowest=lowest,
    )


def table_text(report: NoiseReport) -> str:
    """Give the curve as CSV, one row an axis and averaging time."""
    rows = ["sensor,axis,unit,tau_s,samples,allan_deviation,low,high,freedom,exponent"]
    curve = report.noise.curve
    for place, name in enumerate(AXES):
        sensor, axis = name.split("_")
        for row, tau_s in enumerate(curve.tau_s):
            numbers = (
                f"{getattr(curve, key)[row, place]:.9g}" for key in ("deviation", "low", "high", "freedom")
            )
            rows.append(
                f"{sensor},{axis},{report.units[place // 3]},{tau_s:.9g},{curve.averages[row]},"
                f"{','.join(numbers)},{curve.exponent[row, place]}"
            )
    return "\n".join(rows) + "\n"


def refuse_used(out: Path) -> None:
    """Refuse a folder with anything in it: earlier results are never written over.

    Raises
    ------
    SettingsError
    """
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        message = f"{out}: found files there, wanted a new or empty folder; choose another --out"
        raise SettingsError(message)


def write_noise(report: NoiseReport, path: Path, out: Path) -> None:
    """Write figures, curve and picture as a new folder, whole or not at all.

    Parameters
    ----------
    report : NoiseReport
    path : Path
        The file that was measured, for its fingerprint.
    out : Path

    Raises
    ------
    SettingsError
        If there is something in the folder.
    OSError
        If it cannot be written.
    """
    refuse_used(out)
    figures = {
        "program": "imustride",
        "version": __version__,
        "input_sha256": sha256(path),
        **as_data(report),
    }
    texts = {
        "noise.json": json.dumps(figures, indent=2, ensure_ascii=False, allow_nan=False) + "\n",
        "noise.csv": table_text(report),
        "noise.svg": picture(report),
    }
    with swapped_in(out) as folder:
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
