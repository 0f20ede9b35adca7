"""Angles, lengths and times of the body against the truth of both motion generators.

    python -m tests.benchmark.body --seeds 9000:9010 --wobble 0

Every true push counts: a push not found and an empty value are told beside the errors. Simulated, not checked on ice.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from imustride.alignment.fitting import fit_standing
from imustride.body_run import Worn
from imustride.cutting.standing import find_standing
from imustride.errors import SettingsError
from imustride.kinematics import Gates
from imustride.loaders import regularise
from imustride.metrics.joints import flexion_rad, pitch_rad
from imustride.pipeline import analyse_logs
from imustride.registry import methods
from imustride.segments import Lengths
from tests.benchmark.accuracy import generator

JOINTS = {
    "left_knee": ("left_thigh", "left_shank"),
    "right_knee": ("right_thigh", "right_shank"),
}
SEGMENTS = ("left_shank", "right_shank", "left_thigh", "right_thigh", "pelvis", "trunk")
MATCH_S = 0.15


def body_metrics():
    """Names of the columns that need more than skates."""
    return [name for name, metric in methods("metrics").items() if set(metric.places) != {"skate"}]


def worn_by(run, settings):
    """What standing and movements of a run show, and the lengths as measured."""
    fittings = {}
    for logs in run.movements.values():
        for place, log in logs.items():
            if place.endswith("skate"):
                continue
            recording = regularise(log)
            found = find_standing(recording, settings.standing)
            fittings[place] = fit_standing(recording, found.standing, found.movements, settings.fitting)
    thigh, shank = (
        {side: run.body[f"{side}_{part}_m"] for side in ("left", "right") if f"{side}_{part}_m" in run.body}
        for part in ("thigh", "shank")
    )
    return Worn(fittings, Lengths(thigh, shank, "measured"))


def analysed(run, settings):
    """The run through the whole analysis, with its gates."""
    gates = None
    if np.isfinite(run.gates_s).all():
        gates = Gates(np.array([0.0, 30.48]), np.array([0.0, run.gates_s[1] - run.gates_s[0]]))
    return analyse_logs("run-1", run.logs, settings, gates, worn_by(run, settings))


def errors_of(run, result):
    """Found minus true for each body column, NaN where not found or empty; also how many true values there are."""
    truth, found = with_shift(run), result.pushes
    truth = truth[truth["push"] > 0]
    names = body_metrics()
    errors = {name: [] for name in names}
    for _, row in truth.iterrows():
        same = found[
            (found["side"] == row["side"]) & ((found["blade_off_s"] - row["blade_off_s"]).abs() < MATCH_S)
        ]
        for name in names:
            if not np.isfinite(row[name]):
                continue
            value = same[name].iloc[0] if len(same) else np.nan
            errors[name].append((value - row[name], row[name], row["side"] == "right"))
    return errors


def angle_errors(run, result):
    """Found minus true angles over the pushing part of the run [deg], by segment and joint."""
    out = {}
    if result.segments is None:
        return out
    true, found = run.segments, result.segments.segments
    off_s = result.pushes["blade_off_s"].dropna()
    if not len(off_s):
        return out
    time_s = np.arange(off_s.min() - 0.5, off_s.max(), 0.01)
    at = {}
    for place, segment in true.items():
        index = np.searchsorted(segment.time_s, time_s).clip(0, len(segment.time_s) - 1)
        at[place] = segment.lane_from_segment[index]
    for place in SEGMENTS:
        if place in found and place in at:
            seen = found[place].attitude(time_s)
            out[f"{place} pitch"] = np.degrees(pitch_rad(seen) - pitch_rad(at[place]))
            across = np.degrees(
                np.arcsin(seen[:, 2, 1].clip(-1, 1)) - np.arcsin(at[place][:, 2, 1].clip(-1, 1))
            )
            out[f"{place} tilt"] = across
            turned = np.arctan2(seen[:, 1, 0], seen[:, 0, 0]) - np.arctan2(
                at[place][:, 1, 0], at[place][:, 0, 0]
            )
            out[f"{place} heading"] = np.degrees((turned + np.pi) % (2 * np.pi) - np.pi)
    for joint, (one, other) in JOINTS.items():
        if one in found and other in found and one in at and other in at:
            seen = flexion_rad(found[one].attitude(time_s), found[other].attitude(time_s))
            out[f"{joint} flexion"] = np.degrees(seen - flexion_rad(at[one], at[other]))
    return out


def with_shift(run):
    """The truth with the shift of the head at the true start of extension, from its true place."""
    head, truth = run.segments["head"], run.truth.copy()
    stride_s = truth["stride_time_s"].to_numpy()
    start_s = (truth["blade_on_s"] + truth["glide_before_extension_s"]).to_numpy()
    total = np.concatenate(
        ([0.0], np.cumsum(np.diff(head.time_s) * (head.position_m[1:, 1] + head.position_m[:-1, 1]) / 2))
    )
    mean = (
        np.interp(start_s + stride_s / 2, head.time_s, total)
        - np.interp(start_s - stride_s / 2, head.time_s, total)
    ) / stride_s
    shift = np.interp(start_s, head.time_s, head.position_m[:, 1]) - mean
    truth["head_shift_lateral_m"] = np.where(truth["side"] == "left", shift, -shift)
    return truth


def told(name, errors):
    """One line: bias, SD, RMS, median of the size and share of the true size, and how many are empty."""
    pairs = np.array(errors, float).reshape(-1, 3)
    value = pairs[:, 0]
    known = value[np.isfinite(value)]
    if not len(known):
        return f"| {name} | - | - | - | - | - | {len(value)} of {len(value)} |"
    size = np.sqrt(np.mean(pairs[:, 1] ** 2))
    rms = np.sqrt(np.mean(known**2))
    return (
        f"| {name} | {known.mean():+.3f} | {known.std():.3f} | {rms:.3f} | {np.median(np.abs(known)):.3f} | "
        f"{100 * rms / size:.1f} | {(~np.isfinite(value)).sum()} of {len(value)} |"
    )


def between_feet(errors):
    """Mean error of the right pushes minus that of the left ones in a run, in the column's unit and percent."""
    value, true, right = np.array(errors, float).reshape(-1, 3).T
    if not (np.isfinite(value) & (right > 0)).any() or not (np.isfinite(value) & (right == 0)).any():
        return np.nan, np.nan
    apart = np.nanmean(value[right > 0]) - np.nanmean(value[right == 0])
    return apart, 100 * apart / abs(np.mean(true))


def measured(simulate, seeds, options, settings):
    """Errors of all columns, of the feet against each other, of the angles over time, and what was remarked."""
    errors = {metric: [] for metric in body_metrics()}
    apart = {metric: [] for metric in errors}
    angles: dict[str, list[float]] = {}
    remarks: dict[str, int] = {}
    for seed in seeds:
        try:
            run = simulate(seed, options.grade, body=True, wobble_deg=options.wobble)
        except (SettingsError, ValueError) as error:
            remarks[f"not simulated: {error}"] = 1
            continue
        result = analysed(run, settings)
        for metric, values in errors_of(run, result).items():
            errors[metric] += values
            apart[metric].append(between_feet(values))
        for angle, values in angle_errors(run, result).items():
            kind = angle.replace("left_", "").replace("right_", "")
            angles.setdefault(kind, []).append(float(np.sqrt(np.nanmean(values**2))))
        for note in result.notes:
            remarks[note] = remarks.get(note, 0) + 1
    return errors, apart, angles, remarks


def main():
    """Print the tables."""
    from imustride.settings import Settings

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="9000:9010")
    parser.add_argument("--wobble", type=float, default=0.0)
    parser.add_argument("--grade", default="good")
    parser.add_argument("--generator", choices=("first", "second", "both"), default="both")
    options = parser.parse_args()
    seeds = range(*map(int, options.seeds.split(":")))
    for name in ("first", "second") if options.generator == "both" else (options.generator,):
        errors, apart, angles, remarks = measured(generator(name), seeds, options, Settings())
        print(
            f"\n{name} generator, {options.grade}, wobble {options.wobble:g} deg, {len(seeds)} seeds (simulated)\n"
        )
        print("| column | bias | SD | RMS | median size | RMS % | empty | right - left of a run, SD | % |")
        print("|---|---|---|---|---|---|---|---|---|")
        for metric, values in errors.items():
            one, percent = np.nanstd(np.array(apart[metric]), axis=0)
            print(f"{told(metric, values)} {one:.3f} | {percent:.1f} |")
        print("\n| angle over time | RMS over runs [deg] | worst run |\n|---|---|---|")
        for angle, values in sorted(angles.items()):
            print(f"| {angle} | {np.sqrt(np.mean(np.square(values))):.2f} | {max(values):.2f} |")
        for remark, times in remarks.items():
            print(f"- {times} x {remark}")


if __name__ == "__main__":
    main()
