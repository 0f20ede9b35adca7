"""The picture from above: what is drawn, where, and what is said below it."""

import dataclasses
import re

import numpy as np
import pandas as pd
import pytest

from imustride.kinematics import BladePath, Clock
from imustride.report.above import described, from_above, places, row_lengths, sideways
from imustride.report.amounts import Amounts
from imustride.report.catalogue import catalogue
from imustride.report.inline import inline_svg
from imustride.report.picture import page_table
from imustride.report.tracks import drawn_run, tracks
from imustride.results import RunResult

GATES_M = np.array([0.5, 15.74, 30.98])
NO_GATES = np.zeros(0)
SPEED_M_S = 6.0
OFF_S = {"left": [10.5, 11.5, 12.5, 13.5, 14.5], "right": [11.0, 12.0, 13.0, 14.0, 15.0]}
RIGHT_CLOCK = Clock(offset_s=-2.5)
ENGLISH = Amounts(catalogue("en"))


def zigzag(side, shift_s=0.0, width_m=0.3):
    """A blade at 6 m/s that is 0.4 m outside at its blade-offs and 0.2 m less half a second later."""
    times = np.arange(10.0, 17.0, 0.02)
    sign = 1 if side == "left" else -1
    phase = 2 * np.pi * (times - OFF_S[side][0])
    place = np.column_stack([SPEED_M_S * (times - 10.0), sign * (width_m + 0.1 * np.cos(phase))])
    root = np.zeros((len(times), 2, 2))
    root[:, 0, 0], root[:, 1, 1] = 0.05, 0.02
    still = np.zeros(10)
    return BladePath(times - shift_s, place, np.zeros_like(place), still, root, np.zeros((10, 2)), 0.01)


def pushes_of(sides=("left", "right"), flags=""):
    rows = [
        {"side": side, "push": k, "blade_on_s": np.nan if k == 1 else off - 0.35, "blade_off_s": off}
        for side in sides
        for k, off in enumerate(OFF_S[side], start=1)
    ]
    table = pd.DataFrame(rows).sort_values("blade_off_s", ignore_index=True)
    flags = np.where(table["push"] == 1, "standing_start", flags)
    return table.assign(
        run="run-1",
        flags=flags,
        stride_length_m=6.0,
        stride_length_m_sd=0.11,
        lateral_travel_m=0.2,
        track_angle_deg=9.0,
    )


def shown(sides=("left", "right"), gate_m=GATES_M, width_m=0.3):
    paths = {side: zigzag(side, RIGHT_CLOCK.offset_s if side == "right" else 0.0, width_m) for side in sides}
    clocks = {"left": Clock(), "right": RIGHT_CLOCK}
    return tracks(paths, clocks, pushes_of(sides), gate_m)


def test_blade_offs_lie_where_the_blade_was_on_the_common_clock():
    # The left foot leaves the ice at 10.5 s: 3 m on; the right foot, whose own clock shows 2.5 s more, at 11.0 s: 6 m.
    found = shown()
    np.testing.assert_allclose(found["left"].off_m[:2], [[3.0, 0.4], [9.0, 0.4]], atol=1e-9)
    np.testing.assert_allclose(found["right"].off_m[:2], [[6.0, -0.4], [12.0, -0.4]], atol=1e-9)
    assert found["left"].names == ("L1", "L2", "L3", "L4", "L5")
    np.testing.assert_allclose(found["right"].off_sd_m, [[0.05, 0.02]] * 5, atol=1e-12)


def test_a_blade_is_on_the_ice_from_the_stance_and_between_its_events():
    left = shown()["left"]
    on_m = left.place_m[left.on_ice, 0]
    # Standing until 10.5 s (3 m); then 0.35 s before each blade-off, 2.1 m before its place.
    spans = [(0.0, 3.0), (6.9, 9.0), (12.9, 15.0), (18.9, 21.0), (24.9, 27.0)]
    inside = np.array([(on_m > low - 0.13) & (on_m < high + 0.13) for low, high in spans])
    assert inside.any(axis=0).all()
    assert (inside.sum(axis=1) > 15).all()


def test_tracks_end_behind_the_last_push_or_gate():
    # Last push at 30 m, last gate at 30.98 m: half a metre beyond the gate.
    assert shown()["left"].place_m[-1, 0] == pytest.approx(31.48, abs=0.13)
    assert shown(gate_m=NO_GATES)["left"].place_m[-1, 0] == pytest.approx(30.5, abs=0.13)


def test_a_contact_cut_by_the_end_of_the_log_has_no_mark():
    pushes = pushes_of()
    pushes.loc[pushes["blade_off_s"] == 15.0, ["blade_off_s", "flags"]] = [np.nan, "log_end"]
    paths = {"right": zigzag("right", RIGHT_CLOCK.offset_s)}
    found = tracks(paths, {"right": RIGHT_CLOCK}, pushes, GATES_M)
    assert found["right"].names == ("R1", "R2", "R3", "R4")
    assert found["right"].on_ice[-1]


def test_a_blade_on_lost_in_a_gap_is_not_drawn_as_contact():
    pushes = pushes_of().assign(flags="gap")
    left = tracks({"left": zigzag("left")}, {"left": Clock()}, pushes, GATES_M)["left"]
    assert not left.on_ice[left.place_m[:, 0] < 3.0].any()


def test_the_lane_is_cut_into_rows_that_hold_it():
    begin_m, row_m, rows = row_lengths(shown())
    assert (begin_m, row_m, rows) == (-1.0, 17.0, 2)


def test_sideways_is_enlarged_as_far_as_there_is_room():
    low_m, high_m, stretch = sideways(shown())
    # 3.55 inch for 17 m: four times enlarged 0.8 m are 0.67 inch, five times 0.84; 1.06 are there beside the letters.
    assert stretch == 5
    letters_m = 0.22 / (5 * 3.55 / 17)
    assert (low_m, high_m) == pytest.approx((-0.4 - letters_m, 0.4 + letters_m))
    assert sideways(shown(width_m=3.0))[2] == 1


def words_of(found, gate_m=GATES_M, pushes=None, amounts=ENGLISH):
    pushes = pushes_of() if pushes is None else pushes
    return described("run-1", "first", found, gate_m, pushes, amounts, "no timing gates")


def test_a_path_that_strays_is_cut_and_said():
    found = shown(width_m=20.0)
    assert sideways(found)[0] > -7.0
    assert "strays more than 5.0\N{NO-BREAK SPACE}m" in words_of(found).caption
    assert "strays" not in words_of(shown()).caption


def test_equal_scales_are_called_so():
    assert "sideways is drawn to the same scale." in words_of(shown(width_m=3.0)).says


def svg_of(sides=("left", "right"), gate_m=GATES_M, amounts=ENGLISH):
    return inline_svg(from_above(shown(sides, gate_m), gate_m, amounts, "no timing gates"), "above")


def texts(svg):
    return re.findall(r"<text [^>]*>([^<]*)</text>", svg)


def test_every_push_and_gate_is_named_and_the_scale_is_said():
    written = texts(svg_of())
    for name in ("L1", "L5", "R1", "R5", "G1", "G2", "G3"):
        assert written.count(name) == 1
    assert any("sideways [m] drawn 5 times larger" in text for text in written)
    assert "0.5 L" in written
    assert "0.5 R" in written


def test_feet_differ_by_mark_and_dash():
    svg = svg_of()
    marks = dict(re.findall(r'<path id="above-[^"]+" d="([^"]+)" style="stroke: (#003f6b|#e06c00)', svg))
    assert sorted(marks.values()) == ["#003f6b", "#e06c00"]
    dashed = re.findall(r"fill: none; stroke-dasharray: [^\"}]*stroke: (#003f6b|#e06c00)", svg)
    assert set(dashed) == {"#e06c00"}


def test_no_gates_is_said_in_the_picture_and_below_it():
    assert "no timing gates" in texts(svg_of(gate_m=NO_GATES))
    said = words_of(shown(gate_m=NO_GATES), NO_GATES)
    assert "no timing gates" in said.says
    assert "No timing gates, so that the distance" in said.caption


def test_one_skate_alone_is_drawn_and_said():
    written = texts(svg_of(("right",)))
    assert "R1" in written
    assert "L1" not in written
    caption = words_of(shown(("right",)), pushes=pushes_of(("right",))).caption
    assert "Only the right skate was measured" in caption


def test_unjoined_clocks_are_said():
    pushes = pushes_of(flags="clocks_not_synchronised")
    assert "The clocks were not joined" in words_of(shown(), pushes=pushes).caption


def test_caption_and_alternative_hold_run_scale_gates_and_uncertainty():
    said = words_of(shown())
    assert said.caption.startswith("run-1: the first run that counts")
    assert "5 blade-offs left and 5 blade-offs right" in said.says
    for part in ("drawn 5 times larger", "0.50, 15.74 and 30.98\N{NO-BREAK SPACE}m"):
        assert part in said.says
        assert part in said.reading
    assert "±0.05 m along the lane and ±0.02 m across it (SD)" in said.caption.replace(
        "\N{NO-BREAK SPACE}", " "
    )


def test_feet_and_a_decimal_comma():
    # 0.50, 15.74 and 30.98 m are 1.64, 51.64 and 101.64 ft.
    said = words_of(shown(), amounts=Amounts(catalogue("fr"), "imperial")).reading
    assert "1,64, 51,64 et 101,64\N{NO-BREAK SPACE}ft" in said
    written = texts(svg_of(amounts=Amounts(catalogue("fr"), "imperial")))
    assert "60" in written
    assert any("[ft]" in text for text in written)


def test_the_table_holds_the_numbers_of_the_picture():
    headings, rows = page_table(places("run-1", shown(), pushes_of()), ENGLISH)
    assert [row[1] for row in rows] == ["L1", "R1", "L2", "R2", "L3", "R3", "L4", "R4", "L5", "R5"]
    assert rows[1] == ["run-1", "R1", "6.00 ±0.05", "−0.40 ±0.02", "6.00 ±0.11", "0.20", "9.0"]
    assert len(headings) == len(rows[0])


def test_equal_runs_give_equal_pictures():
    assert svg_of() == svg_of()


def run(name, *, usable=True, tracked=True, reason=""):
    paths = {"left": zigzag("left")} if tracked else {}
    return RunResult(name, pushes_of(), {}, {}, usable=usable, reason=reason, paths=paths)


@pytest.mark.parametrize(
    ("times_s", "chosen", "why"),
    [
        ({"a": 4.9, "b": 4.8}, "b", "fastest"),
        ({"a": np.nan, "b": 4.8}, "a", "first"),
        ({"a": np.nan, "b": np.nan}, "a", "first"),
    ],
)
def test_which_run_is_drawn(times_s, chosen, why):
    found = drawn_run((run("a"), run("b")), times_s)
    assert (found[0].name, found[1]) == (chosen, why)


def test_runs_left_out_are_drawn_only_where_there_is_no_other():
    bad = run("a", usable=False, reason="a stumble")
    times_s = {"a": 4.5, "b": 4.8}
    assert drawn_run((bad, run("b")), times_s)[0].name == "b"
    assert drawn_run((bad,), times_s)[1] == "left_out"
    assert drawn_run((bad, run("b", tracked=False)), times_s)[0].name == "a"
    assert drawn_run((run("b", tracked=False),), times_s) is None
    assert drawn_run((dataclasses.replace(bad, pushes=pushes_of().head(0)),), times_s) is None
