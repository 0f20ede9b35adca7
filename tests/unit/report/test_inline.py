"""Pictures inline: fewer bytes, the same places."""

import re

import numpy as np
import pytest
from matplotlib.figure import Figure

from imustride.report.drawing import saved
from imustride.report.inline import compact, inline_svg


def places(path):
    """Places of a path with steps from place to place, as the standard of SVG reads it (SVG 2, 9.3)."""
    here, found = np.zeros(2), []
    for letter, numbers in re.findall(r"([mlhvqcz])([^mlhvqcz]*)", path):
        steps = [float(step) for step in re.findall(r"-?\d+\.?\d*", numbers)]
        if letter == "z":
            continue
        if letter in "hv":
            steps = [steps[0], 0.0] if letter == "h" else [0.0, steps[0]]
        ends = here + np.reshape(steps, (-1, 2))
        found += list(ends)
        here = ends[-1]
    return np.array(found)


def test_a_path_by_hand():
    assert compact("M 1 2 L 4 2 L 4 0.5 L 3 1 z ", 10) == "m1 2h3v-1.5l-1 0.5z"
    assert compact("M 0 0 C 1 0 2 1.25 2 2 ", 100) == "m0 0c1 0 2 1.25 2 2"


def test_a_step_too_small_to_see_is_left_out_but_never_the_only_one():
    assert compact("M 1 1 L 5 1 L 5.01 1 L 9 1 ", 10) == "m1 1h4h4"
    assert compact("M 1 1 L 1 1 ", 10) == "m1 1h0"


def test_behind_a_closed_path_steps_count_from_its_beginning():
    assert compact("M 1 1 L 2 1 L 2 2 z M 5 5 L 6 5 ", 10) == "m1 1h1v1zm4 4h1"


def test_rounding_does_not_add_up():
    rng = np.random.default_rng(1)
    way = np.cumsum(rng.uniform(-0.3, 0.34, (500, 2)), axis=0) + 50
    text = "M " + " L ".join(f"{x} {y}" for x, y in way) + " "
    ends = places(compact(text, 10))
    kept = np.concatenate(([True], np.diff(np.round(way * 10), axis=0).any(axis=1)))
    assert np.abs(ends - way[kept]).max() <= 0.0500001


@pytest.fixture
def drawn():
    figure = Figure(figsize=(3, 2))
    axes = figure.add_axes((0.1, 0.1, 0.8, 0.8))
    for height in range(4):
        axes.plot([0, 1], [height, height + 1], color="#003F6B")
    axes.plot([0.5], [2], color="#E06C00", marker="s")
    return figure


def test_what_looks_alike_is_said_once_and_names_are_the_pictures_own(drawn):
    svg = inline_svg(drawn, "mine")
    assert svg.count("#003f6b") == 1
    assert set(re.findall(r'(?:id="|href="#|url\(#|class=")(\w+)-', svg)) == {"mine"}
    asked = set(re.findall(r'(?:href="#|url\(#)([\w-]+)', svg))
    assert asked
    assert asked <= set(re.findall(r'\bid="([\w-]+)"', svg))
    assert set(re.findall(r'class="([\w-]+)"', svg)) == set(re.findall(r"\.([\w-]+)\{", svg))


def test_a_picture_takes_less_than_half_of_what_was_drawn(drawn):
    assert len(inline_svg(drawn, "mine")) < 0.5 * len(saved(drawn, "mine", "svg"))
