"""Language and units of the page on the command line."""

from pathlib import Path

import pytest

from imustride.cli.boundary import run

DEMO = Path(__file__).parents[3] / "recordings" / "demo"


def test_an_unknown_language_lists_all(capsys, tmp_path):
    assert run(["analyse", str(DEMO), "--out", str(tmp_path / "out"), "--language", "xx"]) == 2
    assert "--language: found 'xx', wanted one of en, fr" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_language_is_no_path(capsys, tmp_path):
    assert run(["analyse", str(DEMO), "--out", str(tmp_path / "out"), "--language", "../texts/en"]) == 2
    assert "wanted one of" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("units", "length"), [("metric", "30,48\N{NO-BREAK SPACE}m"), ("imperial", "100\N{NO-BREAK SPACE}ft")]
)
def test_the_page_is_written_in_the_language_and_units_asked_for(tmp_path, units, length):
    out = tmp_path / "out"
    assert (
        run(["analyse", str(DEMO), "--out", str(out), "--quiet", "--language", "fr", "--units", units]) == 0
    )
    page = (out / "summary.html").read_text(encoding="utf-8")
    assert '<html lang="fr">' in page
    assert length in page
    assert "Quels essais comptent" in page
