"""The list of a day: by code, only what differs, no time of anybody."""

import dataclasses
import re

import pytest

from imustride.errors import SettingsError
from imustride.report.catalogue import languages
from imustride.report.index import MARK, Line, check_index, index_line, index_page


def of(result, athlete, **changes):
    session = result.session.model_copy(update={"athlete": athlete, **changes})
    return dataclasses.replace(result, session=session)


def listed(*results, language="en", system="metric"):
    lines = [
        index_line(result, f"folder-{number}", language, system) for number, result in enumerate(results)
    ]
    return index_page(lines, language)


def codes(page):
    return re.findall(r"<a href=\"([^\"]*)\">([^<]*)</a>", page)


def test_a_line_for_each_in_the_order_of_the_codes(result):
    page = listed(of(result, "C03"), of(result, "A01"), of(result, "B02"))
    assert codes(page) == [
        ("folder-1/summary.html", "A01"),
        ("folder-2/summary.html", "B02"),
        ("folder-0/summary.html", "C03"),
    ]
    assert "This is no ranking" in page


def test_the_way_to_a_page_leads_there_whatever_the_folder_is_called(result):
    """Percent and hash mean something else in an address (RFC 3986, section 2)."""
    page = index_page([index_line(result, "day 1 #2 100%", "en", "metric")], "en")
    assert [address for address, _ in codes(page)] == ["day%201%20%232%20100%25/summary.html"]


def test_the_order_asks_for_nothing_but_the_code(result):
    faster = dataclasses.replace(result, runs_table=result.runs_table.assign(gate_time_s=1.0))
    slow, fast = of(result, "A01"), of(faster, "B02")
    assert [code for _, code in codes(listed(fast, slow))] == ["A01", "B02"]
    assert [code for _, code in codes(listed(of(faster, "A01"), of(result, "B02")))] == ["A01", "B02"]


def test_no_time_stands_in_it(result):
    page = listed(of(result, "A01"), of(result, "B02"))
    assert result.runs_table["gate_time_s"].notna().any()
    assert "4.83" not in page
    assert "4.90" not in page


def test_what_is_the_same_for_all_stands_above_and_what_differs_in_the_lines(result):
    page = listed(
        of(result, "A01", conditions={"start_behind_m": 0.5}),
        of(result, "B02", conditions={"start_behind_m": 0.75}),
    )
    above, lines = page.split("<table>")
    assert "Protocol: sprint-100ft" in above
    assert "sprint-100ft" not in lines
    assert "start behind the first gate" not in above
    assert "0.50\N{NO-BREAK SPACE}m" in lines
    assert "0.75\N{NO-BREAK SPACE}m" in lines


def test_runs_and_differences_are_those_of_the_tables(result):
    line = index_line(result, "one", "en", "metric")
    assert line.runs == "2 of 3"
    assert line.differs == "time on the ice (right more)"
    none = dataclasses.replace(result, symmetry=result.symmetry.assign(verdict="unclear"))
    assert index_line(none, "one", "en", "metric").differs == "nothing that can be called"
    spoiled = tuple(dataclasses.replace(run, usable=False, reason="stumbled") for run in result.runs)
    table = result.runs_table.assign(usable=False, reason="stumbled")
    line = index_line(dataclasses.replace(result, runs=spoiled, runs_table=table), "one", "en", "metric")
    assert (line.runs, line.differs) == ("0 of 3", "not told: no run counts")


def test_missing_consent_is_told_and_else_nothing_of_it(make_result):
    with_it, without = of(make_result(), "A01"), of(make_result(consent=None), "B02")
    assert "not on record" in listed(with_it, without)
    assert 'data-label="Consent"' not in listed(with_it)


def test_a_session_that_failed_is_named_by_its_folder(result):
    page = index_page([index_line(result, "one", "en", "metric"), Line("two"), Line("<b>")], "en")
    assert "<li>two</li>" in page
    assert "<li>&lt;b&gt;</li>" in page
    assert len(codes(page)) == 1
    assert "<table>" not in index_page([Line("two")], "en")


@pytest.mark.parametrize("language", languages())
def test_same_sessions_same_bytes_in_any_order_and_language(result, language):
    lines = [index_line(of(result, code), code, language, "metric") for code in ("A01", "B02")]
    page = index_page(lines, language)
    assert page == index_page(lines[::-1], language)
    assert f'<html lang="{language}">' in page
    assert "Content-Security-Policy" in page


def test_only_an_earlier_list_is_replaced(tmp_path):
    check_index(tmp_path)
    (tmp_path / "index.html").write_text(index_page([], "en"), encoding="utf-8")
    check_index(tmp_path)
    (tmp_path / "index.html").write_text("<h1>mine</h1>", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"index\.html: found another file"):
        check_index(tmp_path)
    (tmp_path / "index.html").unlink()
    (tmp_path / "real.html").write_text(MARK, encoding="utf-8")
    (tmp_path / "index.html").symlink_to("real.html")
    with pytest.raises(SettingsError):
        check_index(tmp_path)
