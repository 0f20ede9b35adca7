"""Movements as a span of longer logs, on logs made on paper: who moved when is known to the sample.

Times of the evening [s]: both sensors turn in two runs, from 100 to 110 and from 200 to 212; the shank alone in squats, from 40 to
44 and from 46 to 50. The clock of the shank is 500 s ahead.
"""

import datetime as dt
import tracemalloc

import h5py
import numpy as np
import pytest

from imustride import reading
from imustride.errors import FileFormatError, SignalQualityError
from imustride.exporting.parquet import check_ready
from imustride.fitting import sources
from imustride.fitting_files import span_views
from imustride.loaders import open_session
from imustride.movements import shown_by
from imustride.preparing.session_text import toml_text
from imustride.reading import read_movement, read_recordings
from imustride.report.catalogue import catalogue
from imustride.session import read_session
from imustride.settings import Settings
from imustride.sharing import export_bids, export_parquet
from imustride.surveying import survey_log

RATE_HZ, END_S = 50.0, 300.0
RUNS = [(100, 110), (200, 212)]
SQUATS = [(40, 44), (46, 50)]
AHEAD_S = {"left_skate": 0.0, "left_shank": 500.0}
FACTS = {
    "athlete": "A07",
    "date": dt.date(2026, 10, 3),
    "surface": "ice",
    "protocol": "sprint-100ft",
    "columns": {"time": "time", "acceleration": "acc", "angular_velocity": "gyr"},
    "units": {"time": "s", "acceleration": "m/s^2", "angular_velocity": "rad/s"},
}


def log(path, place, moves, *, from_s=0.0, to_s=END_S, rate_hz=RATE_HZ):
    """Write a sensor that turns at 1 rad/s in the spans of `moves`, one way and the other by turns."""
    time_s = np.arange(from_s, to_s, 1 / rate_hz)
    noise = np.random.default_rng(len(place)).normal(0, 0.01, (len(time_s), 6))
    acceleration = noise[:, :3] + [0.0, 0.0, 9.81]
    turning = noise[:, 3:]
    for begin_s, end_s in moves:
        inside = (time_s >= begin_s) & (time_s < end_s)
        turning[inside, 1] += np.sign(np.sin(2 * np.pi * (time_s[inside] - begin_s)) + 1e-9)
    with h5py.File(path, "w") as file:
        file["time"] = time_s + AHEAD_S[place]
        file["acc"] = acceleration
        file["gyr"] = turning


@pytest.fixture
def session(tmp_path):
    """Write the logs and a session, read it."""

    def make(
        shank=(*SQUATS, *RUNS), runs=(), places=("left_skate", "left_shank"), span_s=(30.0, 55.0), **shank_log
    ):
        log(tmp_path / "left_skate.h5", "left_skate", RUNS)
        log(tmp_path / "left_shank.h5", "left_shank", shank, **shank_log)
        files = {place: f"{place}.h5" for place in AHEAD_S}
        moved = {"kind": "all", "files": {place: files[place] for place in places}}
        moved |= {
            key: at_s for key, at_s in zip(("start_s", "end_s"), span_s, strict=True) if at_s is not None
        }
        entries = [
            {"name": f"run-{number}", "files": files, "start_s": from_s, "end_s": to_s}
            for number, (from_s, to_s) in enumerate(runs, 1)
        ] or [{"name": "run-1", "files": files}]
        sensors = [{"place": place, "device": place.replace("_", "-")} for place in AHEAD_S]
        content = {**FACTS, "sensors": sensors, "runs": entries, "movements": [moved]}
        (tmp_path / "session.toml").write_text(toml_text(content), encoding="utf-8")
        return read_session(tmp_path)

    return make


def read(session, place="left_shank"):
    return read_movement(session, session.movements[0], place, {})


def ends_s(recording):
    return recording.start_s, recording.start_s + (len(recording.measured) - 1) / recording.rate_hz


def test_the_first_sensors_clock_counts(session):
    assert ends_s(read(session(), "left_skate")) == pytest.approx((30.0, 55.0), abs=1e-6)


def test_another_sensors_clock_is_joined_by_when_both_moved(session):
    # To the two blocks of 0.1 s that two grids of them can be apart.
    assert ends_s(read(session())) == pytest.approx((530.0, 555.0), abs=0.2)


def test_of_the_sensor_alone_the_times_are_on_its_own_clock(session):
    alone = session(places=("left_shank",), span_s=(530.0, 555.0))
    assert ends_s(read(alone)) == pytest.approx((530.0, 555.0), abs=1e-6)


def test_one_end_may_be_open(session):
    assert ends_s(read(session(span_s=(30.0, None)), "left_skate")) == pytest.approx((30.0, 299.98), abs=1e-6)
    assert ends_s(read(session(span_s=(None, 55.0)), "left_skate")) == pytest.approx((0.0, 55.0), abs=1e-6)


# Others wore the shank's sensor while the skate's lay on the bench: most of its evening says nothing of this skater, and what
# lies best on the skate's two runs, where the shank's sensor was not in them, lies well on them (correlations of 0.6).
OTHERS = [(60, 95), (120, 135), (140, 190), (220, 262), (270, 298)]


@pytest.mark.parametrize("shank", [(*SQUATS, *RUNS, *OTHERS), OTHERS, ()])
def test_clocks_that_nothing_joins_are_told(session, shank):
    with pytest.raises(SignalQualityError) as caught:
        read(session(shank, runs=[(96, 114), (194, 218)]))
    assert str(caught.value) == (
        "left_shank: its log and that of left_skate do not move together, so where start_s and end_s lie in it is not "
        "known; give left_shank a [[movements]] entry of its own, with the times on its own clock"
    )


def test_a_span_outside_a_log_is_told(session):
    with pytest.raises(
        SignalQualityError, match=r"^start_s and end_s lie outside the log of left_skate, 0\.00 to"
    ):
        read(session(span_s=(900.0, 930.0)), "left_skate")
    late = session(RUNS, from_s=60.0)
    found, (problem,) = shown_by(late, "left_shank", Settings(), {})
    assert found is None
    assert problem.startswith("movement all: start_s and end_s lie outside the log of left_shank, 560.00 to")


def test_without_the_log_whose_clock_counts_no_other_takes_its_place(session, tmp_path):
    found = session()
    (tmp_path / "left_skate.h5").unlink()
    with pytest.raises(FileFormatError, match=r"left_skate\.h5: no such file"):
        read(found)


LOST = (
    "left_skate.h5: start_s and end_s are on its clock; without it, where they lie in the logs of left_shank is not known; "
    "repair it, or copy it again"
)


def cut_short(path):
    """Damage a log as an interrupted copy does."""
    path.write_bytes(path.read_bytes()[:2000])


def test_a_run_is_never_looked_for_on_another_sensors_clock(session, tmp_path):
    # On the shank's own clock there is something from 696 to 714 s too.
    found = session(runs=[(696, 714)])
    cut_short(tmp_path / "left_skate.h5")
    recordings, problems = read_recordings(found, found.runs[0])
    assert recordings == {}
    assert "left_skate.h5#/: damaged HDF5 data: " in problems[0]
    assert problems[1:] == (LOST,)
    assert "on ne sait pas où ils sont dans les autres enregistrements (tibia gauche)" in catalogue(
        "fr"
    ).reason(LOST)


def test_a_clock_that_is_known_counts_though_its_sensor_cannot_be_used(session, tmp_path):
    found = session(runs=[(96, 114)])
    with h5py.File(tmp_path / "left_skate.h5", "r+") as file:
        file["acc"][:] /= 9.81  # in g, against what is declared
    recordings, problems = read_recordings(found, found.runs[0])
    (problem,) = problems
    assert "left_skate.h5: " in problem
    assert ends_s(recordings["left_shank"]) == pytest.approx((596.0, 614.0), abs=0.2)


def test_a_check_blames_the_log_whose_clock_counts_alone_and_reads_it_once(session, tmp_path, monkeypatch):
    found = session(runs=[(96, 114)])
    cut_short(tmp_path / "left_skate.h5")
    surveyed = []
    monkeypatch.setattr(reading, "survey_log", lambda log: surveyed.append(log.name) or survey_log(log))
    read = {}
    for entry in (*found.movements, *found.runs):
        views, problems = span_views(sources(found, entry), entry, 9.81, None, read)
        assert (views, list(problems)) == ({}, ["left_skate"])
        assert problems["left_skate"].endswith(f"; {LOST}")
    assert surveyed == ["left_skate.h5"]


def test_a_long_log_is_never_held(session):
    rate_hz = 400.0  # of blocks of 0.1 s little is kept
    found = session(to_s=1800.0, rate_hz=rate_hz)
    held = 1800 * rate_hz * 7 * 8
    tracemalloc.start()
    try:
        piece = read(found)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert ends_s(piece) == pytest.approx((530.0, 555.0), abs=0.2)
    assert held > 40e6
    assert peak < held / 2


@pytest.mark.parametrize("export", [export_bids, export_parquet])
def test_exported_without_the_log_whose_clock_counts_they_are_left_out(session, tmp_path, export):
    if export is export_parquet:
        check_ready()
    session(runs=[(96, 114)])
    own = (
        '[[runs]]\nname = "run-2"\nfiles = { left_shank = "left_shank.h5" }\nstart_s = 696.0\nend_s = 714.0\n'
    )
    with (tmp_path / "session.toml").open("a", encoding="utf-8") as file:
        file.write(own)
    (tmp_path / "left_skate.h5").unlink()
    problems = export(tmp_path, tmp_path / "out")
    told = [problem for problem in problems if "left out" in problem]
    assert told == [
        f"{entry}: left out, without the log of left_skate, on whose clock start_s and end_s are"
        for entry in ("run-1", "movement all")
    ]
    after = open_session(tmp_path / "out")
    assert after.movements == ()
    assert [(run.name, run.start_s, run.end_s) for run in after.runs] == [("run-2", 696.0, 714.0)]


@pytest.mark.parametrize("export", [export_bids, export_parquet])
def test_exported_they_keep_their_span(session, tmp_path, export):
    before = session(runs=RUNS).movements[0]
    assert export(tmp_path, tmp_path / "out") == ()
    (after,) = open_session(tmp_path / "out").movements
    assert (after.kind, after.start_s, after.end_s) == (before.kind, 30.0, 55.0)
    assert after.files == open_session(tmp_path / "out").runs[0].files
