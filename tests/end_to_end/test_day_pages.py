"""Several sessions at once: a folder each, and one list that leads to every page."""

import re
import shutil
from urllib.parse import unquote

import pytest

STRANGE = "b #1 & 50 %"


@pytest.fixture
def day(invented, tmp_path):
    """Give three sessions: two athletes, the later code first, and a folder that holds nothing."""
    folders = [tmp_path / name for name in ("first", STRANGE, "empty")]
    for folder, athlete in zip(folders[:2], ("Z09", "A01"), strict=True):
        shutil.copytree(invented, folder)
        text = (folder / "session.toml").read_text(encoding="utf-8")
        text = re.sub(r"(?m)^athlete *=.*$", f'athlete = "{athlete}"', text)
        (folder / "session.toml").write_text(text, encoding="utf-8")
    folders[2].mkdir()
    return folders


def test_the_list_leads_to_every_page(day, command, tmp_path):
    out = tmp_path / "out"
    status, said, _ = command("analyse", *day, "--out", out)
    assert status == 3
    assert f"list of the pages: {out / 'index.html'}" in said
    page = (out / "index.html").read_text(encoding="utf-8")
    links = re.findall(r'<a href="([^"]*)">([^<]*)</a>', page)
    assert [code for _, code in links] == ["A01", "Z09"]
    for address, code in links:
        target = out / unquote(address)
        assert f"{code}: every push" in target.read_text(encoding="utf-8")
    assert "<li>empty</li>" in page
    assert sorted(path.name for path in out.iterdir()) == sorted(["first", STRANGE, "index.html"])


def test_it_is_written_again_with_the_same_bytes(day, command, tmp_path):
    out = tmp_path / "out"
    command("analyse", *day, "--out", out, "--quiet")
    first = (out / "index.html").read_bytes()
    command("analyse", *day[::-1], "--out", out, "--quiet")
    assert (out / "index.html").read_bytes() == first
