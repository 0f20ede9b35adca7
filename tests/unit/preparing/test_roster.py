import datetime as dt

import pytest

from imustride.errors import FileFormatError
from imustride.preparing.roster import read_roster

GOOD = "2026-10-03,18:05,A07,guardian,run-1,S041,S042,4.944"


def only(problems):
    assert len(problems) == 1, problems
    assert "\n" not in problems[0]
    return problems[0]


def test_a_line_is_read_whole(roster):
    found = roster(GOOD)
    assert (found.problems, found.notes) == ((), ())
    row = found.rows[0]
    assert row.begin == dt.datetime(2026, 10, 3, 18, 5)  # noqa: DTZ001 - the clock on the rink's wall
    assert (row.athlete, row.run, row.consent, row.line) == ("A07", "run-1", "guardian", 2)
    assert row.devices == {"left_skate": "S041", "right_skate": "S042"}
    assert row.gates == ((0.0, 0.0), (30.48, 4.944))


def test_further_places_gates_and_conditions_are_columns(roster):
    row = roster(
        "18:05,A07,S041,S045,2.1,4.9,0.5,left,12.5,40",
        header="time,athlete,left_skate_device,pelvis_device,gate_15.24_m_time_s,gate_30.48_m_time_s,"
        "condition_start_behind_m,start_foot,start_s,end_s",
        date=dt.date(2026, 10, 3),
    ).rows[0]
    assert row.devices == {"left_skate": "S041", "pelvis": "S045"}
    assert [gate[0] for gate in row.gates] == [0.0, 15.24, 30.48]
    assert row.conditions == {"start_behind_m": "0.5"}
    assert (row.start_foot, row.start_s, row.end_s) == ("left", 12.5, 40.0)


def test_semicolons_decimal_commas_and_a_byte_order_mark_are_taken_and_told(roster):
    found = roster(
        GOOD.replace(",", ";").replace("4.944", "4,944"),
        header="date;time;athlete;consent;run;left_skate_device;right_skate_device;gate_30.48_m_time_s",
        written="utf-8-sig",
    )
    assert found.problems == ()
    assert found.rows[0].gates[1] == (30.48, 4.944)
    assert any("byte order mark" in note for note in found.notes)
    assert any("';'" in note for note in found.notes)


def test_a_declared_delimiter_and_encoding_need_no_note(roster):
    header = "date|time|athlete|remark|left_skate_device"
    found = roster(
        "2026-10-03|18:05|A07|sträng|S041", header=header, written="cp1252", encoding="cp1252", delimiter="|"
    )
    assert found.problems == ()
    assert found.notes == ()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("18:05", "25:05", "line 2, time: found '25:05'; wanted hours and minutes"),
        ("18:05", "", "line 2, time: found nothing"),
        ("2026-10-03", "3.10.2026", "line 2, date: found '3.10.2026'"),
        ("guardian", "mother", "line 2, consent: found 'mother'; wanted self or guardian"),
        ("run-1", "../run", "line 2, run: found '../run'"),
        ("run-1", "NUL", "line 2, run: found 'NUL'"),
        ("S041", "S 41/x", "line 2, left_skate_device"),
        ("S041,S042", ",", "line 2: found no sensor"),
        ("4.944", "fast", "gate_30.48_m_time_s: found 'fast'; wanted a number"),
        ("4.944", "-4.9", "gate times: found 0 s at 0 m, -4.9 s at 30.48 m; wanted times that rise"),
        ("4.944", "nan", "wanted a number"),
        (",4.944", "", "line 2: found 7 cells; wanted 8"),
        ("4.944", "4,944", "line 2: found 9 cells; wanted 8"),
    ],
)
def test_a_wrong_cell_is_named(roster, old, new, said):
    found = roster(GOOD.replace(old, new))
    assert said in only(found.problems)
    assert found.rows == ()


@pytest.mark.parametrize("name", ["Anna Larsson", "A-07", "Åsa", "A" * 33, "con", "=1+1"])
def test_what_is_no_code_is_refused_and_not_repeated(roster, name):
    problem = only(roster(GOOD.replace("A07", name)).problems)
    assert "line 2, athlete" in problem
    assert "never a name" in problem
    assert name not in problem


def test_a_code_that_looks_like_a_name_is_remarked_on(roster):
    assert "codes without a digit (Anna)" in roster(GOOD.replace("A07", "Anna")).notes[0]


def test_all_faults_of_a_list_are_named_at_once(roster):
    found = roster(GOOD.replace("18:05", "8"), GOOD, GOOD.replace("A07", "?").replace("4.944", "x"))
    assert [problem.split(": ")[0] for problem in found.problems] == [
        "list.csv, line 2, time",
        "list.csv, line 4, athlete",
        "list.csv, line 4, gate_30.48_m_time_s",
    ]
    assert len(found.rows) == 1


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("date,time,left_skate_device", "no column 'athlete'"),
        ("date,athlete,left_skate_device", "no column 'time'"),
        ("time,athlete,left_skate_device", "no column 'date'"),
        ("date,time,athlete", "no column of sensors"),
        ("date,time,athlete,left_skate_device,gate_30_m_s", "unknown column 'gate_30_m_s'"),
        ("date,time,athlete,left_skate_device,time", "'time' is there twice"),
        ("date,time,athlete,left_skate_device,full name", "codes only"),
    ],
)
def test_a_wrong_header_is_named(roster, header, said):
    assert said in only(roster("1,2,3,4,5", header=header).problems)


def test_an_empty_list_is_refused(roster, tmp_path):
    assert "no lines" in only(roster().problems)
    (tmp_path / "empty.csv").write_text("\n\n")
    with pytest.raises(FileFormatError, match="empty file"):
        read_roster(tmp_path / "empty.csv")
    with pytest.raises(FileFormatError, match="no such file"):
        read_roster(tmp_path / "gone.csv")


@pytest.mark.parametrize(("raw", "said"), [(b"\xff\xfea\x00", "not UTF-8"), (b"time,athlete\0", "binary")])
def test_what_is_no_text_is_refused(tmp_path, raw, said):
    (tmp_path / "list.csv").write_bytes(raw)
    with pytest.raises(FileFormatError, match=said):
        read_roster(tmp_path / "list.csv")


def test_a_list_without_a_cell_is_refused(roster):
    with pytest.raises(FileFormatError, match="no cell with text"):
        roster(",,", header='""')
