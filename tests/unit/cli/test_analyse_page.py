"""Language and units of the page on the command line."""

import sys
from pathlib import Path

import pytest

from imustride.cli.boundary import run
from imustride.report import pdf

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


def test_pdf_and_pictures_are_written_when_asked_for(pipeline, command, tmp_path, monkeypatch):
    monkeypatch.setattr(pdf, "check_ready", lambda: None)
    assert command("analyse", "demo", "--out", tmp_path / "out")[0] == 0
    assert command("analyse", "demo", "--out", tmp_path / "out", "--pdf", "--figures")[0] == 0
    assert [(page.pdf, page.figures) for page in pipeline.pages] == [(False, False), (True, True)]


def test_what_a_pdf_lacks_is_told_before_any_work(pipeline, command, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    status, out, err = command("analyse", "demo", "--out", tmp_path / "out", "--pdf")
    assert (status, out) == (2, "")
    assert err.startswith("imustride: --pdf: found no weasyprint")
    assert err.count("\n") == 1
    assert pipeline.settings == []


def test_several_sessions_are_listed(pipeline, command, tmp_path):
    status, out, _ = command("analyse", "a/one", "a/broken", "--out", tmp_path)
    assert status == 3
    assert f"list of the pages: {tmp_path / 'index.html'}" in out
    ((lines, folder),) = pipeline.listed
    assert folder == tmp_path
    assert [(line.folder, line.athlete) for line in lines] == [("one", "A07"), ("broken", "")]


@pytest.mark.parametrize("arguments", [["a/one"], ["a/one", "a/two", "--dry-run"]])
def test_one_session_or_a_dry_run_has_no_list(pipeline, command, tmp_path, arguments):
    assert command("analyse", *arguments, "--out", tmp_path / "out")[0] == 0
    assert pipeline.listed == []


def test_another_index_is_refused_before_any_work(pipeline, command, tmp_path):
    (tmp_path / "index.html").write_text("<h1>mine</h1>", encoding="utf-8")
    status, _, err = command("analyse", "a/one", "a/two", "--out", tmp_path)
    assert status == 2
    assert "index.html: found another file" in err
    assert pipeline.settings == []
