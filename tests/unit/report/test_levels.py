"""Posture and movement: means and spreads of each foot worked out on paper, signs in words, nothing of what nobody wore."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from imustride.report import summary_page
from imustride.report.amounts import Amounts
from imustride.report.catalogue import catalogue
from imustride.report.levels import directed, level_groups
from imustride.report.measures import measures
from imustride.report.worn import emptied, sensor_rows
from imustride.session import Sensor

ENGLISH = Amounts(catalogue("en"))
NBSP = "\N{NO-BREAK SPACE}"
WORN = ("left_shank", "right_shank", "left_thigh", "right_thigh", "left_wrist", "right_wrist")


def with_values(result, places=WORN, **values):
    """The result by hand with sensors at places and columns in every push: the same value, or one by the side."""
    sensors = (*result.session.sensors, *(Sensor(place=place, device="S9") for place in places))

    def filled(pushes):
        columns = {
            name: pushes["side"].map(value) if isinstance(value, dict) else value
            for name, value in values.items()
        }
        return pushes.assign(push_start_by="", **columns)

    runs = tuple(dataclasses.replace(run, pushes=filled(run.pushes)) for run in result.runs)
    pushes = pd.concat([run.pushes for run in runs], ignore_index=True)
    session = result.session.model_copy(update={"sensors": sensors})
    return dataclasses.replace(result, runs=runs, pushes=pushes, session=session)


def rows(result, title, amounts=ENGLISH):
    group = next(group for group in level_groups(result, amounts) if group["title"] == title)
    return {name: [cell.replace(NBSP, " ") for cell in cells] for name, *cells in group["rows"]}


def test_mean_spread_and_number_by_foot_and_phase(result):
    """Left 10 and 20 in turn: of the 12 pushes of two runs behind the first six, 15 ±5.2 (5 sqrt(12 / 11)), known to 1.5."""
    pushes = result.pushes
    turns = np.where(pushes["push"] % 2, 10.0, 20.0)
    found = with_values(result, knee_flexion_on_deg=0.0)
    runs = tuple(
        dataclasses.replace(
            run, pushes=run.pushes.assign(knee_flexion_on_deg=np.where(run.pushes["push"] % 2, 10.0, 20.0))
        )
        for run in found.runs
    )
    found = dataclasses.replace(found, runs=runs, pushes=found.pushes.assign(knee_flexion_on_deg=turns))
    later = found.pushes[
        (found.pushes["phase"] == "later")
        & (found.pushes["side"] == "left")
        & found.pushes["run"].isin(["run-1", "run-2"])
    ]
    assert sorted(later["knee_flexion_on_deg"]) == [10.0] * 6 + [20.0] * 6
    assert rows(found, "Shin and knee")["knee bend at landing [°]"][2] == "15.0 ±5.2 (n 12)"


def test_pushes_from_standing_and_the_foot_that_lifts_first_are_left_out(result):
    found = with_values(result, knee_flexion_max_deg=50.0)
    cells = rows(found, "Shin and knee")["deepest knee bend [°]"]
    # Of the first six pushes of either run three are each foot's; the right one's first is from standing.
    assert [cell.partition("(")[2] for cell in cells] == ["n 6)", "n 4)", "n 12)", "n 12)"]


def test_signs_are_words_where_the_metric_has_any(result):
    found = with_values(
        result,
        hip_ahead_of_ankle_m={"left": -0.082, "right": 0.05},
        leg_angle_off_deg={"left": -3.0, "right": 45.0},
        foot_to_hip_lateral_m={"left": 0.0, "right": -0.031},
    )
    shown = rows(found, "Leg and hip")
    assert shown["hip against the ankle in the deepest posture [cm]"][:2] == [
        "8.2 behind ±0.0 (n 6)",
        "5.0 ahead ±0.0 (n 4)",
    ]
    assert shown["leg out to the side as the blade leaves, from the vertical [°]"][2:] == [
        "3.0 inward ±0.0 (n 12)",
        "45.0 ±0.0 (n 12)",
    ]
    assert shown["foot against its hip at landing, sideways [cm]"][2:] == [
        "0.0 ±0.0 (n 12)",
        "3.1 inside ±0.0 (n 12)",
    ]


def test_the_arm_is_told_in_a_sentence(result):
    found = with_values(result, arm_push_lag_s={"left": -0.04, "right": 0.012})
    group = next(group for group in level_groups(found, ENGLISH) if group["title"] == "Trunk and arms")
    assert group["notes"][0].replace(NBSP, " ") == (
        "The other arm ends its swing, forward or back, after the first 6 pushes: 40 ms before the left blade leaves and 12 ms "
        "after the right blade has left."
    )
    cells = rows(found, "Trunk and arms")["end of the other arm's swing, against the blade leaving [ms]"]
    assert cells[2:] == ["40 before ±0 (n 12)", "12 after ±0 (n 12)"]


def test_shares_are_percent_and_inches_are_inches(result):
    found = with_values(result, knee_extension_ratio=0.97, foot_to_hip_forward_m=0.254)
    assert rows(found, "Leg and hip")["share of the straight leg reached [%]"][2] == "97.0 ±0.0 (n 12)"
    imperial = Amounts(catalogue("en"), "imperial")
    shown = rows(found, "Leg and hip", imperial)["foot against its hip at landing, along the lane [in]"]
    assert shown[2] == "10.0 ahead ±0.0 (n 12)"


def test_zero_has_no_direction():
    assert directed("arm_push_lag_s", "0", ENGLISH) == "0"
    assert directed("arm_push_lag_s", "\N{MINUS SIGN}7", ENGLISH) == f"7{NBSP}before"
    assert directed("knee_flexion_on_deg", "\N{MINUS SIGN}7", ENGLISH) == "\N{MINUS SIGN}7"


def test_the_criterion_and_the_complement_are_said(result):
    found = with_values(result, glide_before_extension_s=0.1, leg_angle_off_deg=45.0)
    by = np.where(found.pushes["side"] == "left", "knee", "edge")
    runs = tuple(
        dataclasses.replace(
            run,
            pushes=run.pushes.assign(push_start_by=np.where(run.pushes["side"] == "left", "knee", "edge")),
        )
        for run in found.runs
    )
    found = dataclasses.replace(found, runs=runs, pushes=found.pushes.assign(push_start_by=by))
    notes = next(group for group in level_groups(found, ENGLISH) if group["title"] == "Leg and hip")["notes"]
    assert any("complement, 90° minus this" in note for note in notes)
    # Of two runs: 9 left pushes and 8 right ones that were not from standing.
    assert any(
        "straighten (18 pushes) and by the blade changing onto its inside edge (16 pushes)" in note
        for note in notes
    )


def test_nothing_is_said_of_what_nobody_wore(result):
    values = {one.name: 1.0 for one in measures().values() if one.level}
    assert level_groups(with_values(result, (), **values), ENGLISH) == []
    titles = [group["title"] for group in level_groups(with_values(result, ("head",), **values), ENGLISH)]
    assert titles == ["Hips and head"]
    page = summary_page(result)
    assert "Posture and movement" not in page
    assert "Sensors on the body" not in page


def test_runs_that_do_not_count_are_left_out(result):
    found = with_values(result, knee_flexion_max_deg=50.0)
    none = tuple(dataclasses.replace(run, usable=False, reason="stumbled") for run in found.runs)
    assert level_groups(dataclasses.replace(found, runs=none), ENGLISH) == []


@pytest.fixture
def sensors(result):
    table = pd.DataFrame(
        {
            "run": ["run-1", "run-1", "run-1", "run-2", "run-2", "run-2"],
            "place": ["left_shank", "head", "left_thigh"] * 2,
            "clock_sd_s": [0.002, 0.006, np.nan, 0.0034, 0.006, 0.004],
            "upright": [True, False, np.nan, True, False, True],
            "forward_sd_deg": [1.5, np.nan, np.nan, 3.1, np.nan, 1.0],
            "movements": [4, 0, np.nan, 2, 0, 1],
            "heading_sd_deg": [1.2, 1.3, np.nan, 2.4, np.nan, 1.0],
            "problem": ["", "", "left_thigh: no shock was shared", "", "", ""],
        }
    )
    return dataclasses.replace(with_values(result, knee_flexion_max_deg={"right": 50.0}), segments=table)


def test_how_sensors_sat_is_that_of_their_worst_run(sensors):
    shin, head, thigh = [[cell.replace(NBSP, " ") for cell in row] for row in sensor_rows(sensors, ENGLISH)]
    assert shin == [
        "left shin",
        "shown by standing straight",
        "±3°, shown by 2 movements",
        "±2.4°",
        "±3 ms",
        "",
    ]
    assert head[1:5] == [
        "not shown: the stance before the start stands in for it",
        "not needed",
        "not known",
        "±6 ms",
    ]
    assert thigh[0] == "left thigh"
    assert thigh[2] == "±1.0°, shown by 1 movement"
    assert thigh[-1] == "left_thigh: no shock was shared"


def test_a_sensor_never_joined_has_nothing_but_its_reason(sensors):
    only = sensors.segments[sensors.segments["run"] == "run-1"]
    row = sensor_rows(dataclasses.replace(sensors, segments=only), ENGLISH)[-1]
    assert row[1:5] == ["–"] * 4
    assert row[5]


def test_what_stayed_empty_is_counted_with_its_reason(sensors):
    pushes = sensors.pushes
    flags = np.where((pushes["side"] == "left") & (pushes["push"] > 7), "gap;body_lost", pushes["flags"])
    said = emptied(dataclasses.replace(sensors, pushes=pushes.assign(flags=flags)), ENGLISH)
    # Three runs of nine left pushes and the first lift, and of nine right ones.
    assert said[0].startswith("a body sensor lost its turn here: 6 of 30 pushes left, 0 of 27 right")
    assert said[1] == "No value in any left push, though the sensors were worn: deepest knee bend."
    assert len(said) == 2


def test_nothing_empty_is_said_too(sensors):
    whole = dataclasses.replace(sensors, pushes=sensors.pushes.assign(knee_flexion_max_deg=50.0))
    assert emptied(whole, ENGLISH) == [
        "Every sensor was aligned and joined in every push, and every metric has values."
    ]
