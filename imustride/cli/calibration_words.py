"""A calibration in words and in numbers."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from imustride.cli.talk import columns

if TYPE_CHECKING:
    import datetime as dt

    from imustride.calibrating import Made, Placed
    from imustride.calibration.history import History, Step
    from imustride.calibration.positions import Positions
    from imustride.calibration.triad import Triad

PAIRS = ("xy", "xz", "yz")
RESIDUALS = {
    "gyroscope_percent": "largest departure of a turn from what it was [%]",
    "gyroscope_between_positions_deg": "direction of gravity behind a turn, rms off [deg]",
}
UNITS = {
    "accelerometer_bias_m_s2": "accelerometer bias [m/s^2]",
    "accelerometer_scale_percent": "scale [%]",
    "accelerometer_skew_deg": "skew [deg]",
    "gyroscope_bias_deg_s": "gyroscope bias [deg/s]",
    "gyroscope_scale_percent": "scale [%]",
    "gyroscope_skew_deg": "skew [deg]",
}


def as_data(made: Made, placed: Placed | None, date: dt.date, *, written: bool) -> dict[str, Any]:
    """Return a calibration as plain data."""
    told: dict[str, Any] = {
        "device": made.bench.sensor.device,
        "date": date.isoformat(),
        "source": made.source,
        "gravity_m_s2": made.bench.gravity_m_s2,
        "file": None if placed is None else placed.target.path,
        "written": written,
        "notes": list(made.notes),
        "residuals": {key: value for part in made.parts for key, value in part.residuals.items()},
    }
    told |= {part.name: part.content for part in made.parts}
    if made.positions is not None:
        told["positions"] = _positions_data(made.positions)
        told["coverage"] = _coverage_data(made.positions)
    if made.turns is not None:
        told["turns"] = [
            {
                "start_s": from_s,
                "end_s": to_s,
                "axis": "xyz"[axis],
                "known": known,
            }
            for (from_s, to_s), axis, known in zip(
                made.turns.time_s.tolist(), made.turns.axis.tolist(), made.turns.known.tolist(), strict=True
            )
        ]
    if placed is not None:
        told["change"] = step_data(placed.step)
    return told


def _positions_data(positions: Positions) -> list[dict[str, Any]]:
    fit = positions.fit
    return [
        {"start_s": from_s, "end_s": to_s, "up": up, "residual_m_s2": residual, "used": used}
        for (from_s, to_s), up, residual, used in zip(
            positions.poses.time_s.tolist(),
            fit.up.tolist(),
            fit.residual_m_s2.tolist(),
            fit.used.tolist(),
            strict=True,
        )
    ]


def _coverage_data(positions: Positions) -> dict[str, Any]:
    from imustride.calibration.coverage import FACES

    covered = positions.fit.coverage
    return {
        "positions": covered.positions,
        "directions": covered.directions,
        "largest_hole_deg": covered.largest_hole_deg,
        "nearest_deg": dict(zip(FACES, covered.nearest_deg, strict=True)),
    }


def step_data(step: Step) -> dict[str, Any]:
    """Return one date of a device's history as plain data."""
    return {
        "date": step.calibration.date.isoformat(),
        "method": step.calibration.method,
        "change": step.change,
        "beyond": list(step.beyond),
        "verdict": step.verdict,
    }


def as_lines(made: Made, placed: Placed | None, *, written: bool) -> list[str]:
    """Return a calibration as lines to read."""
    lines = [made.source if placed is None else f"{made.bench.sensor.device}: {made.source}"]
    if made.positions is not None:
        lines += ["", *_accelerometer_lines(made.positions, made.bench.gravity_m_s2)]
    if made.gyroscope is not None:
        found = made.gyroscope
        count = f", {found.turns} turns" if found.turns else ""
        lines += ["", f"gyroscope: {found.method}{count}"]
        lines += _triad_lines(found.triad, "rad/s", math.degrees(1), "deg/s", measured=found.measured)
        lines += [f"{RESIDUALS[key]}: {value:.3g}" for key, value in found.residuals.items()]
    lines.append("+-: half of a 95 % interval; scale: what the sensor shows of one unit; skew: from square")
    if placed is None:
        return [*lines, "", "nothing written: give --device"]
    lines += ["", *step_lines(placed.step)]
    lines += [f"the {name} of the file was kept" for name in placed.target.kept]
    lines += [f"the {name} of the file was replaced" for name in placed.target.replaced if written]
    path = placed.target.path
    return [*lines, f"written: {path}" if written else f"nothing written (dry run); the file would be {path}"]


def _accelerometer_lines(positions: Positions, gravity_m_s2: float) -> list[str]:
    from imustride.calibration.coverage import FACES

    fit, covered = positions.fit, positions.fit.coverage
    worst = int(abs(fit.residual_m_s2 * fit.used).argmax())
    largest, at_s = abs(fit.residual_m_s2[worst]), positions.poses.time_s[worst, 0]
    nearest = ", ".join(f"{face} {angle:.0f}" for face, angle in zip(FACES, covered.nearest_deg, strict=True))
    return [
        (
            f"accelerometer: {fit.method}, {covered.positions} positions in {covered.directions} directions, "
            f"gravity {gravity_m_s2:.5f} m/s^2"
        ),
        *_triad_lines(fit.triad, "m/s^2", 1.0, "m/s^2"),
        f"length of gravity, corrected: rms {fit.rms_m_s2:.4f} m/s^2 off, at most {largest:.4f} (at {at_s:.1f} s)",
        f"nearest position [deg]: {nearest}; largest hole between positions {covered.largest_hole_deg:.0f} deg",
    ]


def _triad_lines(
    triad: Triad, si_unit: str, factor: float, shown: str, *, measured: bool = True
) -> list[str]:
    """Return bias, scale and skew with half of their 95 % intervals, a line an axis."""
    unit = shown
    digits, scale_digits = 4, 5
    if triad.correction.from_counts:
        unit, factor, digits, scale_digits = "counts", 1.0, 2, 3
    per = f"counts per {si_unit}" if triad.correction.from_counts else "raw per true"
    rows = [("", f"bias [{unit}]", "+-", f"scale [{per}]", "+-", "", "skew [deg]", "+-")]
    rows += [
        (
            "xyz"[axis],
            f"{factor * triad.correction.bias[axis]:.{digits}f}",
            f"{factor * triad.interval * triad.bias_sd[axis]:.{digits}f}",
            f"{triad.scale[axis]:.{scale_digits}f}",
            f"{triad.interval * triad.scale_sd[axis]:.{scale_digits}f}",
            PAIRS[axis],
            f"{triad.skew_deg[axis]:.3f}",
            f"{triad.interval * triad.skew_sd_deg[axis]:.3f}",
        )
        for axis in range(3)
    ]
    kept = len(rows[0]) if measured else 3
    return columns([row[:kept] for row in rows], right=(1, 2, 3, 4, 6, 7)[: kept - 1])


def step_lines(step: Step) -> list[str]:
    """Say how a calibration differs from the one before it."""
    from imustride.calibration.history import LIMITS, WORDS

    if not step.change:
        return [WORDS[step.verdict]]
    changes = "; ".join(f"{UNITS[key]} {size:.3g}" for key, size in step.change.items())
    beyond = ", ".join(f"{UNITS[key]} {step.change[key]:.3g}, limit {LIMITS[key]:g}" for key in step.beyond)
    lines = [f"largest change since the one before: {changes}", WORDS[step.verdict]]
    return [*lines, f"beyond the limit: {beyond}"] if beyond else lines


def history_lines(history: History) -> list[str]:
    """Return the history of a device as a table, and the verdict on its last date."""
    from imustride.calibration.history import WORDS

    if not history.steps:
        return [f"{history.device}: no calibration"]
    keys = list(UNITS)
    heads = ["acc. bias [m/s^2]", "scale [%]", "skew [deg]", "gyro. bias [deg/s]", "scale [%]", "skew [deg]"]
    rows = [("date", *heads, "verdict")]
    for step in history.steps:
        cells = [f"{step.change[key]:.3g}" if key in step.change else "-" for key in keys]
        rows.append((step.calibration.date.isoformat(), *cells, step.verdict))
    last = history.steps[-1]
    return [
        f"{history.device}: largest change of an axis since the date before",
        *columns(rows, right=range(1, 7)),
        f"{last.calibration.date}: {WORDS[last.verdict]}",
    ]
