"""The answer and the comparison in plain words."""

import dataclasses
import re

import numpy as np
import pandas as pd
import pytest

from imustride.report.amounts import Amounts
from imustride.report.answer import answer, push_rate_spread
from imustride.report.catalogue import catalogue
from imustride.report.comparison import figures, judged, neighbours

EN = Amounts(catalogue("en"))
FR = Amounts(catalogue("fr"))


def plain(text):
    return text.replace("\N{NO-BREAK SPACE}", " ")


def pushes_of(values, run="run-1", phase="later", flags=""):
    """Pushes in turn, left first, with the given contact times."""
    return pd.DataFrame(
        {
            "run": run,
            "side": ["left", "right"] * (len(values) // 2) + ["left"] * (len(values) % 2),
            "push": np.arange(len(values)) // 2 + 1,
            "phase": phase,
            "blade_off_s": 0.4 * np.arange(len(values)),
            "contact_time_s": values,
            "step_time_s": 0.4,
            "flags": flags,
        }
    )


def row(**changes):
    whole = {
        "phase": "later", "metric": "contact_time_s", "unit": "s", "left_mean": 0.42, "right_mean": 0.40,
        "left_cv_percent": 5.0, "right_cv_percent": 5.0, "n_left": 8, "n_right": 8, "n_runs": 3, "scope": "day",
        "symmetry_index_percent": -4.9, "ci_low_percent": -8.0, "ci_high_percent": -1.8, "difference": -0.0183,
        "difference_ci_low": -0.0231, "difference_ci_high": -0.0135, "smallest_difference": 5.0,
        "smallest_difference_source": "convention, no source", "verdict": "left larger",
        "systematic_percent": 1.0, "systematic_difference": 0.004, "runs_needed": pd.NA, "advice": "",
    }  # fmt: skip
    return whole | changes


def test_neighbours_are_counted_in_both_orders():
    # L R L R L: 0.42 0.40 0.43 0.43 0.41 -> pairs LR left, RL left, LR tie, RL right.
    assert neighbours(pushes_of([0.42, 0.40, 0.43, 0.43, 0.41]), "later", "contact_time_s") == (2, 1, 4)


def test_a_missing_value_parts_neighbours():
    assert neighbours(pushes_of([0.42, np.nan, 0.43, 0.40]), "later", "contact_time_s") == (1, 0, 1)


def test_runs_without_a_common_clock_have_no_neighbours():
    unjoined = pushes_of([0.42, 0.40, 0.42], flags="clocks_not_synchronised")
    assert neighbours(unjoined, "later", "contact_time_s") == (0, 0, 0)


def test_runs_and_phases_are_kept_apart():
    two = pd.concat([pushes_of([0.42, 0.40]), pushes_of([0.42, 0.40], "run-2")], ignore_index=True)
    assert neighbours(two, "later", "contact_time_s") == (2, 0, 2)
    assert neighbours(two, "acceleration", "contact_time_s") == (0, 0, 0)
    assert neighbours(two, "all", "contact_time_s") == (2, 0, 2)


def test_a_real_difference_says_which_how_much_how_sure_and_who_agrees():
    found = judged(row(), pushes_of([0.42, 0.40] * 8), EN)
    assert (found.kind, plain(found.why)) == (
        "real",
        "the left blade stays on the ice 18 ms longer (14 to 23 ms): 15 of 15 neighbouring pushes agree",
    )
    assert found.short == "left, 15 of 15"
    assert found.strength == pytest.approx(0.98)


def test_the_same_in_french():
    found = judged(row(), pushes_of([0.42, 0.40] * 8), FR)
    assert plain(found.why) == (
        "la lame gauche reste 18 ms de plus sur la glace (14 à 23 ms) : 15 voisines sur 15 concordent"
    )


@pytest.mark.parametrize(
    ("changes", "kind", "why"),
    [
        ({"verdict": "alike"}, "same", "any difference is smaller than 5 % of the mean"),
        (
            {"verdict": "unclear", "advice": "better_calibration"},
            "small",
            "these sensors, as they sat, cannot see less than 1.0 % of the mean, however many runs",
        ),
        (
            {"verdict": "unclear", "advice": "near_smallest_difference"},
            "small",
            "we can see 3 % of the mean; what was found lies too near to the smallest difference that counts, 5 % of the mean",
        ),
        (
            {"verdict": "unclear", "advice": "more_runs", "runs_needed": 4},
            "unsure",
            "about 1 more run would tell; now it could be anything from −23 to −14 ms",
        ),
        (
            {"verdict": "unclear", "advice": "more_runs"},
            "unsure",
            "more runs are needed; even 30 of this kind would hardly tell; now it could be anything from −23 to −14 ms",
        ),
        (
            {"verdict": "unclear", "advice": "more_runs", "difference_ci_low": np.nan},
            "unsure",
            "too few pushes to say how sure; more runs are needed",
        ),
        (
            {"verdict": "not measured", "advice": "join_clocks"},
            "missing",
            "the clocks of the two sensors could not be joined",
        ),
        ({"verdict": "not measured", "advice": ""}, "missing", "no value"),
    ],
)
def test_every_kind_says_why(changes, kind, why):
    found = judged(row(**changes), pushes_of([0.42, 0.40] * 8), EN)
    assert (found.kind, plain(found.why)) == (kind, why)


def test_a_metric_from_elsewhere_keeps_its_name():
    pushes = pushes_of([0.42, 0.40] * 8).rename(columns={"contact_time_s": "heel_lift_m"})
    other = judged(row(metric="heel_lift_m", unit="m"), pushes, EN)
    assert plain(other.why).startswith("heel lift is 0.02 m larger on the left (0.01 to 0.02 m): 15 of 15")


def test_figures_hold_the_numbers_of_the_table_rounded():
    shown = {key: plain(str(text)) for key, text in figures(row(), pushes_of([0.42, 0.40] * 8), EN).items()}
    assert shown["left"] == "0.420 s"
    assert shown["against"] == "−18 ms"
    assert shown["interval"] == "−23 to −14 ms"
    assert shown["sizes"] == "8, 8; 3"
    assert shown["sensors"] == "±4 ms"


def test_the_answer_has_three_to_five_sentences(result):
    for amounts in (EN, FR):
        assert 3 <= len(answer(result, amounts)) <= 5


def test_the_answer_names_what_differs_first_and_what_is_open(result):
    said = [plain(sentence) for sentence in answer(result, EN)]
    assert said[0] == "The time was 4.83 s (run-1, the only timed run that counts)."
    assert said[1].startswith("3.23 pushes per second, in single runs 3.23 to 3.23;")
    assert said[2].startswith(
        "Watch: in the first 6 pushes the right blade stays on the ice 31 ms longer (19 to 43 ms):"
    )
    assert said[3] == "The same left and right: toe-down turn (later pushes)."
    assert said[4] == (
        "Cannot be called yet (the table says why): time on the ice (later pushes) and both blades on the ice "
        "(later pushes)."
    )


def test_no_run_counts(result):
    runs = tuple(dataclasses.replace(run, usable=False, reason="no push was found") for run in result.runs)
    table = result.runs_table.assign(usable=False, reason="no push was found")
    none = dataclasses.replace(result, runs=runs, runs_table=table, symmetry=result.symmetry.head(0))
    said = answer(none, EN)
    assert said[0].startswith("No time counts")
    assert said[1] == "No run counts, so nothing is said about left and right: no push was found."
    assert said[2] == "What was found in the runs is shown all the same; nothing rests on it."


def test_clocks_apart_say_so_once(result):
    table = result.symmetry.assign(verdict="not measured", advice="join_clocks")
    said = answer(dataclasses.replace(result, symmetry=table), EN)
    assert said[2] == (
        "Not measured (the clocks of the two sensors could not be joined): time on the ice, toe-down turn, "
        "both blades on the ice and 1 more."
    )
    assert len(said) == 3


def test_a_difference_of_one_run_is_called_so(result):
    one = dataclasses.replace(result, runs=result.runs[:1], runs_table=result.runs_table.head(1))
    assert answer(one, EN)[2].startswith("Watch (one run only): in the first 6 pushes")


def test_everything_open_says_so_and_calls_nothing(result):
    table = result.symmetry.assign(verdict="unclear", advice="more_runs", runs_needed=pd.NA)
    said = answer(dataclasses.replace(result, symmetry=table.astype({"runs_needed": "Int64"})), EN)
    assert said[2] == "Left and right: no difference can be called from these 36 pushes."
    assert "Watch" not in " ".join(said)


def test_spread_is_that_within_runs():
    # 2.5 and 2 a second in one run, 4 and 5 in another: root of ((0.125 + 0.5) / 2) = 0.559.
    pushes = pushes_of([0.4] * 4).assign(run=["a", "a", "b", "b"], step_time_s=[0.4, 0.5, 0.25, 0.2])
    assert push_rate_spread(pushes) == (pytest.approx(0.5590, abs=1e-4), 4)
    assert np.isnan(push_rate_spread(pushes.head(1))[0])


def test_no_sentence_tells_what_to_do(result):
    text = " ".join(answer(result, EN)).lower()
    assert not re.search(r"\b(should|must|try|train|exercise|drill|practise|correct)\b", text)
