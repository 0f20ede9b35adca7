"""The pictures of a session: what is drawn stands in their tables, is told apart without colour, and can be seen."""

import dataclasses
import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure

from imustride.kinematics import Clock
from imustride.report.amounts import Amounts
from imustride.report.catalogue import catalogue, languages
from imustride.report.drawing import FEET, GREY, INK, PALE, saved
from imustride.report.gallery import gallery, not_drawn
from imustride.report.inline import inline_svg
from imustride.report.pace import neighbours
from imustride.report.picture import page_table
from imustride.report.pictures import PICTURES
from imustride.session import Sensor

ENGLISH = Amounts(catalogue("en"))
BY_NAME = {picture.name: picture for picture in PICTURES}
WHITE = "#FFFFFF"


@pytest.fixture(scope="module")
def full(result):
    """The result by hand with every column that a picture takes, in two runs that count and one that does not."""
    sides = result.symmetry
    body = sides[sides["metric"] == "contact_time_s"].assign(metric="knee_flexion_on_deg", unit="deg")
    worn = (*result.session.sensors, Sensor(place="left_thigh", device="S9"))
    session = result.session.model_copy(update={"sensors": worn})
    more = dataclasses.replace(result, session=session, symmetry=pd.concat([sides, body], ignore_index=True))
    found = with_pushes(more, complete)
    runs = tuple(
        dataclasses.replace(run, leg_courses=courses(5.0 * number)) for number, run in enumerate(found.runs)
    )
    return dataclasses.replace(found, runs=runs)


def courses(more_deg=0.0):
    """Six pushes of each foot: the first three straighter, of the later three the knee 80, 90 and 100 - 0.6 deg a percent."""
    percent = np.arange(0, 101, 5)
    rows = [
        pd.DataFrame(
            {
                "side": side,
                "push": push,
                "phase": "later" if push > 3 else "acceleration",
                "contact_percent": percent,
                "knee_flexion_deg": more_deg + {4: 80.0, 5: 90.0, 6: 100.0}.get(push, 60.0) - 0.6 * percent,
                "shank_inclination_deg": 35.0 - 0.3 * percent if side == "right" else np.nan,
            }
        )
        for side in ("left", "right")
        for push in range(1, 7)
    ]
    return pd.concat(rows, ignore_index=True)


def complete(pushes):
    order = np.arange(len(pushes))
    length = 2.0 + 0.25 * order
    return pushes.assign(
        stride_time_s=0.75 - 0.005 * order,
        stride_length_m=length,
        stride_length_m_sd=0.04,
        glide_share_ratio=np.where(order % 3, 0.4, np.nan),
        double_support_s=np.where(order % 2, 0.05, -0.02),
    )


def with_pushes(result, change):
    body, paths = result.runs[0].body, result.runs[0].paths
    runs = tuple(
        dataclasses.replace(run, pushes=change(run.pushes), body=body, paths=paths) for run in result.runs
    )
    return dataclasses.replace(result, runs=runs, pushes=pd.concat([run.pushes for run in runs]))


def drawn(name, result, run=None, language="en", units="metric"):
    return BY_NAME[name].draw(result, run, catalogue(language), units)


def marks(axes, marker, colour):
    """Places of all marks of a look."""
    lines = [
        line.get_xydata()
        for line in axes.get_lines()
        if line.get_marker() == marker and to_hex(line.get_color()).upper() == colour
    ]
    return np.concatenate(lines) if lines else np.zeros((0, 2))


def in_order(places):
    return np.asarray(sorted(map(tuple, np.asarray(places, dtype=float))))


def test_every_picture_has_a_drawing_a_table_and_words(full):
    assert [picture.name for picture in PICTURES] == [
        "rhythm",
        "sides",
        "speed",
        "pace",
        "above",
        "turn",
        "leg",
        "sides-body",
    ]
    for picture in PICTURES:
        assert isinstance(drawn(picture.name, full), Figure)
        words = picture.words(full, None, ENGLISH)
        assert words.title
        assert len(words.says) > 40
        assert 40 < len(words.caption) < 250  # a glance; the rest is unfolded
        assert len(words.reading) > 40
        assert len(picture.table(full, None))


@pytest.mark.parametrize("name", ["rhythm", "speed", "pace", "above", "turn"])
def test_one_run_alone_is_drawn_from_its_own_numbers(full, name):
    run = full.runs[1]
    assert set(BY_NAME[name].table(full, run)["run"]) == {"run-2"}
    assert isinstance(drawn(name, full, run), Figure)


def test_left_and_right_of_one_run_of_many_are_not_compared(full):
    assert BY_NAME["sides"].table(full, full.runs[0]).empty


def test_rhythm_marks_are_where_the_blades_leave(full):
    table, figure = BY_NAME["rhythm"].table(full, None), drawn("rhythm", full)
    for axes, run in zip(figure.axes, ("run-1", "run-2", "run-3"), strict=True):
        for side, lane in (("left", 1.0), ("right", 0.0)):
            mine = table[(table["run"] == run) & (table["side"] == side)]
            places = marks(axes, FEET[side].marker, INK)
            np.testing.assert_allclose(places[:, 0], mine["leaves_s"])
            assert (places[:, 1] == lane).all()


def test_rhythm_counts_from_the_first_lift_and_cuts_contacts_where_they_begin_to_push(full):
    table = BY_NAME["rhythm"].table(full, full.runs[0])
    pushes = full.runs[0].pushes
    assert table["leaves_s"].min() == 0
    row, push = table.iloc[5], pushes.iloc[5]
    # Push 5 in the table glides for 40 % of its contact.
    contact_s = push["blade_off_s"] - push["blade_on_s"]
    assert row["begins_to_push_s"] - row["lands_s"] == pytest.approx(0.4 * contact_s)
    assert row["leaves_s"] - row["lands_s"] == pytest.approx(contact_s)


def test_rhythm_shows_both_blades_on_the_ice_filled_and_neither_hollow(full):
    run = full.runs[0]
    table, axes = BY_NAME["rhythm"].table(full, run), drawn("rhythm", full, run).axes[0]
    both = [line.get_xdata() for line in axes.get_lines() if to_hex(line.get_color()).upper() == GREY]
    spans = both[0].reshape(-1, 3)[:, :2]
    expected = table[table["double_support_s"] > 0]
    np.testing.assert_allclose(spans[:, 1], expected["leaves_s"])
    np.testing.assert_allclose(np.diff(spans, axis=1)[:, 0], 0.05)
    texts = [text.get_text() for text in axes.figure.legends[0].get_texts()]
    assert texts == ["glides", "pushes", "either", "both on the ice", "neither"]


def test_rhythm_draws_runs_that_count_before_those_that_do_not(full):
    names = [f"run-{k}" for k in range(7)]
    runs = tuple(dataclasses.replace(full.runs[0], name=name, usable=name != "run-1") for name in names)
    many = dataclasses.replace(full, runs=runs)
    assert [axes.get_title(loc="left") for axes in drawn("rhythm", many).axes] == [
        "run-0",
        "run-2",
        "run-3",
        "run-4",
    ]
    assert set(BY_NAME["rhythm"].table(many, None)["run"]) == set(names)
    assert "4 of 7 runs are drawn" in BY_NAME["rhythm"].words(many, None, ENGLISH).caption


def test_rhythm_of_one_run_names_its_pushes(full):
    axes = drawn("rhythm", full, full.runs[0]).axes[0]
    pushes = full.runs[0].pushes
    names = pushes["side"].map({"left": "L", "right": "R"}) + pushes["push"].astype(str)
    assert sorted(text.get_text() for text in axes.texts) == sorted(names)


def test_pace_marks_are_the_rows_of_the_fastest_run(full):
    table, axes = BY_NAME["pace"].table(full, None), drawn("pace", full).axes[0]
    for side, foot in FEET.items():
        mine = table[(table["run"] == "run-1") & (table["side"] == side)]
        np.testing.assert_allclose(
            in_order(marks(axes, foot.marker, foot.colour)),
            in_order(mine[["pushes_per_second_hz", "length_per_push_m"]]),
        )


def test_pace_is_that_of_two_pushes_and_leaves_out_the_last_one(full):
    run = full.runs[0]
    table, pushes = BY_NAME["pace"].table(full, run), run.pushes
    assert len(table) == len(pushes) - 1
    row, push = table.iloc[3], pushes.iloc[3]
    assert row["pushes_per_second_hz"] == pytest.approx(2 / push["stride_time_s"])
    assert row["length_per_push_m"] == pytest.approx(push["stride_length_m"] / 2)
    assert row["speed_m_s"] == pytest.approx(row["pushes_per_second_hz"] * row["length_per_push_m"])
    behind = with_pushes(full, lambda one: one.assign(flags=np.where(one["push"] > 7, "after_finish", "")))
    assert BY_NAME["pace"].table(behind, None)["push"].max() == 7


def test_pace_of_unjoined_clocks_is_a_line_for_each_foot(full):
    def apart(pushes):
        late = np.where(pushes["side"] == "left", 100.0, 0.0)
        return pushes.assign(blade_off_s=pushes["blade_off_s"] + late, flags="clocks_not_synchronised")

    run = with_pushes(full, apart)
    table = BY_NAME["pace"].table(run, run.runs[0])
    assert table["side"].tolist() == sorted(table["side"])
    assert len(table) == len(run.runs[0].pushes) - 2
    axes = drawn("pace", run, run.runs[0]).axes[0]
    lines = [
        line
        for line in axes.get_lines()
        if to_hex(line.get_color()).upper() == INK and line.get_linewidth() > 1.5
    ]
    assert [len(line.get_xdata()) for line in lines] == table.groupby("side").size().tolist()


def test_curves_of_equal_speed_hold_their_speed(full):
    for units, per in (("metric", 1.0), ("imperial", 0.44704 / 0.3048)):
        axes = drawn("pace", full, units=units).axes[0]
        dashed = [line for line in axes.get_lines() if line.get_linestyle() == "--"]
        named = [text.get_text() for text in axes.texts if re.search(r"m/s|mph", text.get_text())]
        assert len(dashed) == len(named) > 1
        for line, name in zip(dashed, named, strict=True):
            speed = float(name.split("\N{NO-BREAK SPACE}")[0])
            np.testing.assert_allclose(line.get_xdata() * line.get_ydata(), speed * per)


def test_neighbours_that_err_against_each_other_are_evened_out():
    np.testing.assert_allclose(neighbours(np.array([1.0, 3.0, 1.0, 3.0, 1.0]))[1:-1], 2.0)
    np.testing.assert_allclose(neighbours(np.array([1.0, 4.0])), [1.0, 4.0])


def test_turn_marks_are_single_pushes_and_lines_their_means(full):
    table, axes = BY_NAME["turn"].table(full, None), drawn("turn", full).axes[0]
    metric = "push_off_angular_velocity_deg_s"
    assert set(table["run"]) == {"run-1", "run-2"}
    for side, foot in FEET.items():
        mine = table[table["side"] == side]
        places = marks(axes, foot.marker, foot.colour)
        # The last mark is the mean of all.
        np.testing.assert_allclose(sorted(places[:-1, 1]), sorted(mine[metric]))
        assert places[-1, 1] == pytest.approx(mine[metric].mean())
        lines = [
            line
            for line in axes.get_lines()
            if line.get_linestyle() == foot.dash and len(line.get_xdata()) == 9
        ]
        np.testing.assert_allclose(lines[0].get_ydata(), mine.groupby("push")[metric].mean())


def test_turn_has_left_before_right(full):
    axes = drawn("turn", full).axes[0]
    left, right = (marks(axes, foot.marker, foot.colour)[:, 0] for foot in FEET.values())
    assert left[0] < right[0]
    assert left[-1] < right[-1]


def test_speed_marks_lie_on_the_curve_and_in_the_table(full):
    table, axes = BY_NAME["speed"].table(full, None), drawn("speed", full).axes[0]
    mine = table[table["run"] == "run-1"]
    for foot in FEET.values():
        here = mine[mine["at"].str.startswith(foot.letter)]
        np.testing.assert_allclose(
            in_order(marks(axes, foot.marker, foot.colour)), in_order(here[["place_m", "speed_m_s"]])
        )
    # 30.48 m in 4.832 s, by the timing system alone.
    assert mine["section_speed_m_s"].dropna().tolist() == pytest.approx([30.48 / 4.832])
    assert [text.get_text() for text in axes.texts] == ["G1", "G2"]


def test_speed_and_place_are_those_of_the_body_when_the_blade_leaves(full):
    run = full.runs[0]
    table = BY_NAME["speed"].table(full, run).set_index("at")
    pushes = run.pushes.assign(
        name=np.where(run.pushes["side"] == "left", "L", "R") + run.pushes["push"].astype(str)
    )
    for name, off_s in zip(pushes["name"], pushes["blade_off_s"], strict=True):
        after = int(np.searchsorted(run.body.time_s, off_s))
        near = slice(after - 1, after + 1)
        for column, values in (("place_m", run.body.position_m), ("speed_m_s", run.body.speed_m_s)):
            low, high = sorted(values[near])
            assert low - 1e-9 <= table.loc[name, column] <= high + 1e-9
    assert table.loc[["G1", "G2"], "place_m"].tolist() == pytest.approx([0.5, 30.98], abs=0.01)


def test_above_marks_are_in_the_table(full):
    table, figure = BY_NAME["above"].table(full, None), drawn("above", full)
    for foot in FEET.values():
        places = np.concatenate([marks(axes, foot.marker, foot.colour) for axes in figure.axes])
        mine = table[table["at"].str.startswith(foot.letter)]
        np.testing.assert_allclose(in_order(places), in_order(mine[["place_m", "across_m"]]))


def test_sides_are_in_multiples_of_the_smallest_difference_that_counts(full):
    table = BY_NAME["sides"].table(full, None).set_index(["metric", "phase"])
    row = table.loc["contact_time_s", "acceleration"]
    # 9.79 % (6.1 to 13.5) of 5 %; by its own unit: -6 ms (-14 to 2) of 15 ms.
    assert row[["difference_multiple", "low_multiple", "high_multiple"]].tolist() == pytest.approx(
        [9.79 / 5, 6.1 / 5, 13.5 / 5]
    )
    row = table.loc["double_support_s", "later"]
    assert row[["difference_multiple", "low_multiple", "high_multiple"]].tolist() == pytest.approx(
        [-6 / 15, -14 / 15, 2 / 15]
    )


def test_sides_draw_their_table_and_mark_who_has_more(full):
    table, axes = BY_NAME["sides"].table(full, None), drawn("sides", full).axes[0]
    middles = [
        line
        for line in axes.get_lines()
        if line.get_marker() in {"o", "s", "D"} and len(line.get_xdata()) == 1
    ]
    assert [line.get_xdata()[0] for line in middles] == pytest.approx(table["difference_multiple"].tolist())
    looks = {"right larger": "s", "left larger": "o", "alike": "D", "unclear": "o"}
    assert [line.get_marker() for line in middles] == [looks[verdict] for verdict in table["verdict"]]
    open_ones = [
        line for line, verdict in zip(middles, table["verdict"], strict=True) if verdict == "unclear"
    ]
    assert {line.get_markerfacecolor() for line in open_ones} == {"white"}


def test_an_interval_beyond_the_axis_ends_in_an_arrow(full):
    wide = full.symmetry.assign(ci_high_percent=full.symmetry["ci_high_percent"] * 20)
    axes = drawn("sides", dataclasses.replace(full, symmetry=wide)).axes[0]
    arrows = [line for line in axes.get_lines() if line.get_marker() == ">"]
    assert len(arrows) == 3
    assert {float(line.get_xdata()[0]) for line in arrows} == {axes.get_xlim()[1]}


def test_leg_is_the_mean_of_later_pushes_of_runs_that_count(full):
    """80, 90, 100 and, 5 more in the second run, 85, 95, 105: mean 92.5, variance (156.25 + 6.25 + 56.25) 2 / 5."""
    table = BY_NAME["leg"].table(full, None).set_index(["side", "contact_percent"])
    assert set(table["n_pushes"]) == {6}
    lands, leaves = (table.loc[("left", percent)] for percent in (0, 100))
    assert lands["knee_flexion_deg"] == pytest.approx(92.5)
    assert leaves["knee_flexion_deg"] == pytest.approx(32.5)
    assert lands["knee_flexion_deg_sd"] == pytest.approx(np.sqrt(2 * (156.25 + 6.25 + 56.25) / 5))
    assert table.loc[("right", 50), "shank_inclination_deg"] == pytest.approx(20.0)
    assert np.isnan(table.loc[("left", 50), "shank_inclination_deg"])
    assert BY_NAME["leg"].table(full, full.runs[1]).iloc[0]["knee_flexion_deg"] == pytest.approx(95.0)


def test_leg_draws_its_table_each_foot_by_its_own_mark_dash_and_letter(full):
    table, axes = BY_NAME["leg"].table(full, None), drawn("leg", full).axes
    assert [panel.get_title(loc="left") for panel in axes] == [
        "knee bend (0: straight) [°]",
        "shin tipped forward (0: upright) [°]",
    ]
    for side, foot in FEET.items():
        mine = table[table["side"] == side]
        line = next(line for line in axes[0].get_lines() if line.get_marker() == foot.marker)
        np.testing.assert_allclose(line.get_xdata(), mine["contact_percent"])
        np.testing.assert_allclose(line.get_ydata(), mine["knee_flexion_deg"])
        assert line.get_linestyle() == foot.dash
    strokes = [segment for lines in axes[0].collections for segment in lines.get_segments()]
    low, high = strokes[0][:, 1]
    assert (low + high) / 2 == pytest.approx(92.5)
    assert (high - low) / 2 == pytest.approx(table["knee_flexion_deg_sd"].iloc[0])
    assert [text.get_text() for text in axes[0].texts] == ["L", "R"]
    assert [text.get_text() for text in axes[1].texts] == ["R"]


def test_leg_in_words_is_that_of_its_table(full):
    words = BY_NAME["leg"].words(full, None, ENGLISH)
    # 92.5, known to 9.4 / sqrt(6) = 3.8: no decimals, and the even one of two.
    assert "left knee: 92° at landing, at most 92° after 0 % of the time on the ice, 32° as the" in words.says
    assert "right shin: 35.0° forward at landing" in words.says
    assert "later pushes (n L 6, R 6)" in words.caption


def test_leg_of_a_start_alone_shows_the_first_pushes(full):
    early = courses().query("phase == 'acceleration'")
    runs = tuple(dataclasses.replace(run, leg_courses=early) for run in full.runs)
    short = dataclasses.replace(full, runs=runs)
    assert BY_NAME["leg"].table(short, None).iloc[0]["knee_flexion_deg"] == pytest.approx(60.0)
    assert "first 6 pushes" in BY_NAME["leg"].words(short, None, ENGLISH).caption


def test_without_sensors_on_the_legs_there_is_no_leg_and_nobody_misses_it(result):
    assert BY_NAME["leg"].table(result, None).empty
    assert "leg" not in not_drawn(result, ENGLISH)


def luminance(colour):
    """Relative luminance of WCAG 2.2."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_formula_knows_black_on_white():
    assert contrast("#000000", WHITE) == pytest.approx(21.0)


def test_what_carries_meaning_has_contrast():
    left, right = (foot.colour for foot in FEET.values())
    assert min(contrast(colour, WHITE) for colour in (left, right, INK, GREY)) >= 3
    assert contrast(left, right) >= 3  # in grey print too: luminance alone
    assert contrast(GREY, PALE) >= 3


@pytest.mark.parametrize("name", list(BY_NAME))
def test_only_colours_whose_contrast_is_known_are_used(full, name):
    svg = inline_svg(drawn(name, full), name)
    known = {colour.lower() for colour in (INK, GREY, PALE, WHITE, *(foot.colour for foot in FEET.values()))}
    texts = {found.lower() for found in re.findall(r"<text[^>]*fill: (#[0-9a-fA-F]{6})", svg)}
    assert min(contrast(colour, WHITE) for colour in texts) >= 4.5
    shapes = re.sub(r"<text.*?</text>", "", svg)
    assert {found.lower() for found in re.findall(r"#[0-9a-fA-F]{6}\b", shapes)} <= known


@pytest.mark.parametrize("name", list(BY_NAME))
def test_pictures_are_small_text_is_text_and_bytes_repeat(full, name):
    svg = inline_svg(drawn(name, full), name)
    assert len(svg) < 32_000
    assert "<text" in svg
    assert "font-family: sans-serif" in svg
    assert svg == inline_svg(drawn(name, full), name)
    assert saved(drawn(name, full), name, "png") == saved(drawn(name, full), name, "png")
    assert saved(drawn(name, full), name, "svg").startswith(b"<?xml")


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_numbers_have_the_readers_unit_and_decimal_sign(full, language, units):
    amounts = Amounts(catalogue(language), units)
    shown = {picture["name"]: picture for picture in gallery(full, amounts)}
    headings, rows = shown["pace"]["table"]
    assert f"[{'m' if units == 'metric' else 'ft'}]" in " ".join(headings)
    wrong = "," if language == "en" else "."
    cells = [cell for row in rows for cell in row[1:]]
    assert not any(wrong in cell for cell in cells)
    written = re.findall(r"<text[^>]*>([^<]*)</text>", shown["pace"]["svg"] + shown["speed"]["svg"])
    assert not any(re.search(rf"\d\{wrong}\d", text) for text in written)


def test_multiples_are_as_fine_as_their_interval(full):
    rows = page_table(BY_NAME["sides"].table(full, None), ENGLISH)[1]
    # 1.958 (1.22 to 2.70): known to 0.74, so to a tenth.
    assert rows[0][2:5] == ["2.0", "1.2", "2.7"]


def test_feet_are_metres_over_a_third_of_a_yard(full):
    metric, imperial = (
        page_table(BY_NAME["above"].table(full, None), Amounts(catalogue("en"), units))[1]
        for units in ("metric", "imperial")
    )
    place_m, place_ft = (float(rows[6][2].split(" ")[0]) for rows in (metric, imperial))
    assert place_ft == pytest.approx(place_m / 0.3048, abs=0.1)


def test_what_is_not_drawn_is_named_with_its_reason(full):
    assert not not_drawn(full, ENGLISH)
    bare = dataclasses.replace(
        full, runs=tuple(dataclasses.replace(run, body=None, paths={}) for run in full.runs)
    )
    said = not_drawn(bare, ENGLISH)
    assert said.startswith("Not drawn: speed along the lane and the tracks from above.")
    assert "tracks on the ice that can be trusted" in said
    none = dataclasses.replace(full, symmetry=full.symmetry.head(0))
    assert "left against right" in not_drawn(none, ENGLISH)


def test_one_skate_and_unjoined_clocks_are_the_reason_there(full):
    none = dataclasses.replace(full, symmetry=full.symmetry.head(0))
    lone = dataclasses.replace(
        none,
        pushes=none.pushes[none.pushes["side"] == "left"],
    )
    assert "Only one skate was measured" in not_drawn(lone, ENGLISH)
    clocks = {"left": Clock(), "right": Clock(joined=False)}
    apart = dataclasses.replace(
        none, runs=tuple(dataclasses.replace(run, clocks=clocks) for run in none.runs)
    )
    assert "clocks of the two sensors" in not_drawn(apart, ENGLISH)
    spoiled = dataclasses.replace(
        none, runs=tuple(dataclasses.replace(run, usable=False) for run in none.runs)
    )
    assert "No run counts" in not_drawn(spoiled, ENGLISH)


def test_a_foot_without_a_sensor_is_said_in_the_rhythm(full):
    alone = with_pushes(full, lambda pushes: pushes[pushes["side"] == "left"])
    axes = drawn("rhythm", alone).axes[0]
    assert [text.get_text() for text in axes.texts] == ["not measured"]
