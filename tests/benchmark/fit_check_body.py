"""How often the check of sensors names a fault of a sensor on the body, and blames good ones (simulated, both generators).

    python -m tests.benchmark.fit_check_body --seeds 21000:21010 --wobble 2

A false alarm is a warning or failure of standing and squats, place or joining at a sensor with which all is well.
"""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from imustride.checking.limits import CheckLimits
from imustride.checking.view import BodyFacts
from imustride.constants import SKATES
from imustride.errors import ImustrideError
from imustride.fitting import checked
from imustride.fitting_views import seen, sensor_view
from imustride.loaders import regularise
from imustride.movements import fitting_in
from imustride.settings import Settings
from tests.benchmark.accuracy import generator

CHECKS = ("fitting_axes", "body_place", "body_joined")
FORWARD_LEFT = {"x": ("y", "z"), "y": ("z", "x"), "z": ("x", "y")}


def exchanged(one, other):
    """Exchange the sensors of two places."""

    def plant(logs):
        told = dict(logs)
        for place, source in ((one, other), (other, one)):
            sensor = logs[source].sensor.model_copy(update={"place": place})
            told[place] = replace(logs[source], sensor=sensor)
        return told

    return plant


def upside_down(place):
    """Declare that axis up which points down while the skater stands straight."""

    def plant(logs):
        log = logs[place]
        up = log.acceleration_m_s2[: len(log.time_s) // 8].mean(axis=0)
        name = "xyz"[int(np.abs(up).argmax())]
        sign = "-" if up["xyz".index(name)] > 0 else "+"
        one, other = FORWARD_LEFT[name]
        axes = (f"+{one}", f"{'+' if sign == '+' else '-'}{other}", f"{sign}{name}")
        return {**logs, place: replace(log, sensor=log.sensor.model_copy(update={"axes": axes}))}

    return plant


def without_squats(place):
    """End the recording of movements after the standing."""

    def plant(logs):
        log = logs[place]
        kept = log.time_s < log.time_s[0] + 4.0
        return {
            **logs,
            place: replace(
                log,
                time_s=log.time_s[kept],
                acceleration_m_s2=log.acceleration_m_s2[kept],
                angular_velocity_rad_s=log.angular_velocity_rad_s[kept],
            ),
        }

    return plant


# What is done to the logs of the run, to those of the movements, and the places that must be named.
def nothing(logs):
    return logs


FAULTS = {
    "nothing": (nothing, nothing, ()),
    "left shank and thigh exchanged": (*[exchanged("left_shank", "left_thigh")] * 2, ("left_shank", "left_thigh")),
    "shanks exchanged": (*[exchanged("left_shank", "right_shank")] * 2, ("left_shank", "right_shank")),
    "thighs exchanged": (*[exchanged("left_thigh", "right_thigh")] * 2, ("left_thigh", "right_thigh")),
    "trunk upside down": (nothing, upside_down("trunk"), ("trunk",)),
    "thigh upside down": (nothing, upside_down("right_thigh"), ("right_thigh",)),
    "no squats at a shank": (nothing, without_squats("right_shank"), ("right_shank",)),
}  # fmt: skip


def facts(logs, settings):
    """What the movements say of each sensor of the body."""
    found = {}
    for place, log in logs.items():
        if place in SKATES:
            continue
        try:
            found[place] = BodyFacts(recorded=True, fitting=fitting_in(regularise(log), settings))
        except ImustrideError as error:
            found[place] = BodyFacts(recorded=True, fitting_problem=str(error))
    return found


def alarms(run, fault, settings):
    """Places that the checks of the body blame, with what they say."""
    in_run, in_movements, _ = FAULTS[fault]
    (movements,) = run.movements.values()
    told = facts(in_movements(movements), settings)
    views = {
        place: sensor_view(log, None, 9.81, dt.date(2026, 10, 3)) for place, log in in_run(run.logs).items()
    }
    views = {place: replace(view, body=told.get(place, view.body)) for place, view in views.items()}
    lines = checked([seen("run-1", "run", views, {}, settings).view], {}, CheckLimits())
    return {
        line.where: f"{line.check}: {line.measured}"
        for line in lines
        if line.check in CHECKS and line.verdict in {"warn", "fail"}
    }


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="21000:21010")
    parser.add_argument("--wobble", type=float, default=2.0)
    parser.add_argument("--grade", default="good")
    given = parser.parse_args()
    settings = Settings()
    named, sensors, blamed, runs = Counter(), Counter(), Counter(), 0
    for which in ("first", "second"):
        for seed in range(*map(int, given.seeds.split(":"))):
            run = generator(which)(seed, given.grade, body=True, wobble_deg=given.wobble)
            runs += 1
            for fault, (_, _, places) in FAULTS.items():
                said = alarms(run, fault, settings)
                named[fault] += sum(place in said for place in places)
                sensors[fault] += len(places)
                others = {place: words for place, words in said.items() if place not in places}
                blamed[fault] += len(others)
                missed = [place for place in places if place not in said]
                for place, words in (*others.items(), *((place, "missed") for place in missed)):
                    print(f"  {which} {seed} | {fault} | {place}: {words}", flush=True)
    print(
        f"\nSimulated, {runs} runs, grade {given.grade}, wobble {given.wobble:g} deg; sensors named, others blamed"
    )
    for fault in FAULTS:
        print(f"{fault}: {named[fault]} of {sensors[fault]}, {blamed[fault]} others")


if __name__ == "__main__":
    main()
