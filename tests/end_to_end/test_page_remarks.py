"""What a French page says of files and runs that went wrong is French: every fault planted in a session's own files."""

import html
import re
import shutil

import pytest

ENGLISH = re.compile(
    r"\b(the|was|were|is|are|not|no|found|wanted|measured|correct|copy|only|header|clocks|file|line)\b"
)


def _empty(run):
    (run / "left_skate.csv").write_bytes(b"")


def _header_alone(run):
    path = run / "left_skate.csv"
    path.write_text(path.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")


def _word_in_a_cell(run):
    path = run / "right_skate.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[100] = lines[100].rpartition(",")[0] + ",broken"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _other_header(run):
    path = run / "right_skate.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("gz", "turn", 1), encoding="utf-8")


FAULTS = {
    "absent": lambda run: (run / "left_skate.csv").unlink(),
    "vide": _empty,
    "titres": _header_alone,
    "cellule": _word_in_a_cell,
    "colonnes": _other_header,
    "portes": lambda run: (run / "gates.csv").unlink(),
}


@pytest.fixture
def faulty(session):
    """Give a session with a run for each fault, and one of the left skate alone."""
    text = (session / "session.toml").read_text(encoding="utf-8")
    text = text[: text.index("[[runs]]")]
    for name, plant in FAULTS.items():
        shutil.copytree(session / "run-1", session / name)
        plant(session / name)
        text += (
            f'[[runs]]\nname = "{name}"\ngates = "{name}/gates.csv"\n'
            f'files = {{ left_skate = "{name}/left_skate.csv", right_skate = "{name}/right_skate.csv" }}\n\n'
        )
    text += '[[runs]]\nname = "seul"\nfiles = { left_skate = "run-1/left_skate.csv" }\n'
    (session / "session.toml").write_text(text, encoding="utf-8")
    return session


def said_of_faults(page):
    """Remarks and reasons of the page, as text."""
    remarks = re.search(r'<ul class="remarks".*?</ul>', page, re.DOTALL)[0]
    runs = re.search(r'<table class="runs cards">.*?</table>', page, re.DOTALL)[0]
    said = re.findall(r"<li>(.*?)</li>", remarks)
    said += re.findall(r'<td class="said"[^>]*><span class="screen">(.*?)</span>', runs)
    return [html.unescape(one) for one in said]


def test_faults_are_told_in_the_language_of_the_page(faulty, command, tmp_path):
    for language, expected in (("fr", "fichier vide (0 octets)"), ("en", "empty file (0 bytes)")):
        status, _, _ = command("analyse", faulty, "--out", tmp_path / language, "--language", language, "-q")
        assert status == 3
        said = said_of_faults((tmp_path / language / "summary.html").read_text(encoding="utf-8"))
        assert any(expected in one for one in said)
        assert len(said) >= len(FAULTS)
        told_in_english = [one for one in said if ENGLISH.search(one)]
        assert told_in_english == ([] if language == "fr" else said)


def test_what_holds_for_several_runs_is_said_once(faulty, command, tmp_path):
    command("analyse", faulty, "--out", tmp_path / "out", "-q")
    said = said_of_faults((tmp_path / "out" / "summary.html").read_text(encoding="utf-8"))
    alone = [one for one in said if "only the left skate was measured" in one]
    assert len(alone) == 1
    assert all(name in alone[0] for name in ("seul", "cellule", "colonnes"))
