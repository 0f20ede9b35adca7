"""The words of the page: every language complete, sentences of the analysis put into it."""

import string

import pytest

from imustride.metrics.pushes import FLAGS
from imustride.metrics.symmetry_verdict import ADVICE, MOST_RUNS
from imustride.report import comparison
from imustride.report.catalogue import catalogue, languages


def places(text):
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_english_is_there_and_french():
    assert languages() == ["en", "fr"]


@pytest.mark.parametrize("language", languages())
def test_every_language_has_every_text_with_the_same_places(language):
    english, other = catalogue("en").texts, catalogue(language).texts
    assert set(other) == set(english)
    # A language may need less: "the {side} foot" but not more than it is given.
    assert [key for key, text in other.items() if places(text) - places(english[key])] == []


@pytest.mark.parametrize("language", languages())
def test_no_text_is_empty(language):
    assert [key for key, text in catalogue(language).texts.items() if not text.strip()] == []


@pytest.mark.parametrize("flag", FLAGS)
def test_every_flag_has_words(flag):
    assert f"flag.{flag}" in catalogue("en")


def test_every_piece_of_advice_is_known():
    assert set(ADVICE) == {
        "more_runs",
        "better_calibration",
        "near_smallest_difference",
        "join_clocks",
        "no_pairs",
    }
    assert comparison.MOST_RUNS == MOST_RUNS


def test_an_unknown_language_is_no_file():
    with pytest.raises(FileNotFoundError):
        catalogue("xx")


@pytest.mark.parametrize(
    ("language", "n", "said"),
    [
        ("en", 0, "0 runs count"),
        ("en", 1, "1 run counts"),
        ("en", 2, "2 runs count"),
        ("fr", 0, "0 essai compte"),
        ("fr", 1, "1 essai compte"),
        ("fr", 2, "2 essais comptent"),
    ],
)
def test_numbers_take_the_form_of_the_language(language, n, said):
    assert catalogue(language).many("times.runs", n) == said


def test_lists_end_in_and():
    say = catalogue("en")
    assert [say.listed(list(words)) for words in ("", "a", "ab", "abc")] == ["", "a", "a and b", "a, b and c"]


def test_reasons_are_put_into_french_one_by_one():
    reason = (
        "the left sensor turned in its mount: by 9 degrees in pitch and 21 in roll from the stance before the start, "
        "seen after the stop; two pushes in a row by the right foot at -3.25 s: a push was not found, or the skater "
        "stumbled; something else"
    )
    said = catalogue("fr").reason(reason).replace("\N{NO-BREAK SPACE}", " ")
    assert said == (
        "le capteur de la jambe gauche a tourné dans sa fixation : de 9 degrés en tangage et 21 en roulis depuis la "
        "position de départ, vu après l'arrêt ; deux poussées de suite de la jambe droite à -3,25 s : une poussée n'a "
        "pas été trouvée, ou l'athlète a trébuché ; something else"
    )


def test_a_reason_with_a_semicolon_of_its_own_is_one():
    reason = "gaps take 12 % of the motion of the left sensor and touch 3 of 8 pushes; check the logger"
    assert catalogue("fr").reason(reason).startswith("des trous prennent 12")
    assert "check the logger" not in catalogue("fr").reason(reason)
    assert catalogue("en").reason(reason) == reason


def test_braces_in_a_reason_stay_braces():
    assert catalogue("en").reason("run {name}: odd; {0}") == "run {name}: odd; {0}"
