from imustride.report.pages import holds
from imustride.report.sheet import MARK, Line, sheet_page


def test_a_sheet_shows_characters_that_act_unseen():
    page = sheet_page("2026-10-03", "sprint\u202e", [Line("A07", {"left_skate": "S\u200f1"}, ())])
    assert "sprint[U+202E]" in page
    assert "S[U+200F]1" in page


def test_a_page_is_ours_by_its_mark_near_its_beginning(tmp_path):
    page = tmp_path / "sheet.html"
    page.write_text(sheet_page("2026-10-03", "", []), encoding="utf-8")
    assert holds(page, MARK)
    assert not holds(page, MARK.replace("prepare", "check"))
    page.write_text(" " * 2000 + MARK, encoding="utf-8")
    assert not holds(page, MARK)
    assert not holds(tmp_path, MARK)
    assert not holds(tmp_path / "none.html", MARK)


def test_a_link_to_a_page_is_not_ours(tmp_path, lacks):
    page, link = tmp_path / "sheet.html", tmp_path / "link.html"
    page.write_text(MARK, encoding="utf-8")
    try:
        link.symlink_to(page)
    except OSError:
        lacks("no links on this system")
    assert not holds(link, MARK)
