"""Which metrics the page shows, where and in which words: data, no code."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from imustride.registry import methods
from imustride.report import summary_page
from imustride.report.amounts import METRIC, Amounts
from imustride.report.answer import spoken
from imustride.report.catalogue import catalogue, languages
from imustride.report.measures import Measure, measure, measures, shown_unit
from imustride.report.page_rows import push_table
from imustride.report.pictures import PICTURES
from imustride.session import Sensor

ENGLISH = Amounts(catalogue("en"))
COMPARED = [name for name, one in methods("metrics").items() if one.symmetry != "none"]
KNEE, PLUGGED = "knee_flexion_on_deg", "ours_deg"


@pytest.mark.parametrize("name", COMPARED)
def test_every_metric_that_is_compared_has_a_place_and_words_in_every_language(name):
    assert name in measures()
    if measure(name).place != "nowhere":
        for language in languages():
            assert f"metric.{name}.name" in catalogue(language)
            assert f"metric.{name}.more" in catalogue(language)


@pytest.mark.parametrize("one", measures().values(), ids=measures())
def test_every_row_says_what_can_be_shown(one):
    assert one.place in {"skates", "body", "nowhere"}
    assert shown_unit(one.name) in METRIC
    assert not (one.headline and one.place == "nowhere")


def test_units_follow_the_name_unless_the_row_says_otherwise():
    assert shown_unit("edge_angle_deg") == "deg"
    assert shown_unit("blade_speed_m_s") == "m/s"
    assert shown_unit("lateral_travel_m") == "across"  # declared: inches, not feet
    assert shown_unit("glide_share_ratio") == ""


def test_what_nobody_named_is_shown_with_the_body():
    assert measure(PLUGGED) == Measure(PLUGGED, "body", pushes=False)


@pytest.fixture(scope="module")
def embodied(result):
    """The result by hand with a knee and a metric of another package, both with a difference, and a trunk not worn."""
    difference = result.symmetry[result.symmetry["verdict"] == "right larger"].iloc[[0]]
    rows = [difference.assign(metric=name, unit="deg") for name in (KNEE, PLUGGED)]
    gone = difference.assign(metric="trunk_lean_deg", verdict="not measured", advice="no_pairs")
    symmetry = pd.concat([result.symmetry, *rows, gone], ignore_index=True)
    worn = Sensor(place="left_thigh", device="S9")
    session = result.session.model_copy(update={"sensors": (*result.session.sensors, worn)})
    values = {
        KNEE: 40.0 + np.arange(len(result.pushes)) % 2,
        PLUGGED: 1.0,
        "trunk_lean_deg": np.nan,
    }
    return dataclasses.replace(
        result, session=session, symmetry=symmetry, pushes=result.pushes.assign(**values)
    )


def test_a_new_metric_is_everywhere_on_the_page(embodied):
    page = summary_page(embodied)
    assert "Left against right: the rest of the body" in page
    assert "knee bend at landing, first 6 pushes" in page  # the table
    assert "knee is bent" in page  # the sentence
    assert "Table: Every push: the rest of the body" in page
    assert "ours, first 6 pushes" in page  # no words: the column's name
    assert len(page.encode()) < 300_000


def test_a_place_nobody_wore_a_sensor_at_goes_without_saying(embodied, result):
    assert "trunk_lean_deg" not in set(spoken(embodied)["metric"])
    assert "track_angle_deg" in set(spoken(embodied)["metric"])  # of the skates: said
    assert "trunk leaning" not in summary_page(embodied)
    assert "rest of the body" not in summary_page(result)


def test_skates_and_body_have_pictures_of_their_own(embodied):
    sides, body = (next(p for p in PICTURES if p.name == name) for name in ("sides", "sides-body"))
    assert KNEE not in set(sides.table(embodied, None)["metric"])
    assert list(body.table(embodied, None)["metric"]) == [KNEE, PLUGGED]
    skates = embodied.session.model_copy(update={"sensors": embodied.session.sensors[:2]})
    assert body.table(dataclasses.replace(embodied, session=skates), None).empty


def test_every_push_of_the_body_stands_apart(embodied):
    headings, rows = push_table(embodied.pushes, ENGLISH, "body")
    assert headings[4:-1] == ["knee bend at landing [°]"]
    assert len(rows) == len(embodied.pushes)
    assert "knee bend at landing [°]" not in push_table(embodied.pushes, ENGLISH, "skates")[0]
    assert push_table(embodied.pushes.drop(columns=KNEE), ENGLISH, "body") == ([], [])
