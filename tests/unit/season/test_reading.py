import numpy as np
import pandas as pd
import pytest

from imustride.season.reading import (
    Chosen,
    read_pushes,
    read_run_means,
    read_runs,
    read_sessions,
    stream_pushes,
)


def test_means_of_a_run_worked_out_on_paper(store, add):
    """Run 1: right .30, left .32, right .31, left .35; run 2: right .40, left .42, right missing, left .44; lifts do not count."""
    add()
    means = read_run_means(store, "contact_time_s")
    assert means["run"].tolist() == ["run-1", "run-2"]
    assert means["left"].tolist() == pytest.approx([0.335, 0.43])
    assert means["right"].tolist() == pytest.approx([0.305, 0.40])
    assert means["value"].tolist() == pytest.approx([0.32, 0.415])
    assert means["n_left"].tolist() == [2, 2]
    assert means["n_right"].tolist() == [2, 1]
    assert means["n"].tolist() == [4, 3]
    assert means["definition_number"].tolist() == [2, 2]
    assert means["usable"].tolist() == [True, False]
    assert set(means["phase"]) == {"all"}


def test_means_of_a_phase(store, add):
    add()
    means = read_run_means(store, "contact_time_s", "later")
    assert means["value"].tolist() == pytest.approx([(0.31 + 0.35) / 2, np.nan], nan_ok=True)
    assert means["n_right"].tolist() == [1, 0]


def test_means_of_a_season_are_those_of_its_pushes(store, add):
    rng = np.random.default_rng(5)
    for number, (athlete, date) in enumerate(
        [("B02", "2026-10-10"), ("A07", "2026-10-03"), ("A07", "2026-10-10")]
    ):
        add(athlete, date, contact_s=tuple(rng.normal(0.3, 0.05, 4)), logs=(f"{number:02d}",))
    add("A07", "2026-10-03", contact_s=(0.3, 0.3, 0.3, 0.3), logs=("01",))
    pushes = read_pushes(store)
    counted = pushes[pushes["push"] > 0].groupby(["athlete", "date", "run", "side"])["contact_time_s"].mean()
    wanted = counted.groupby(["athlete", "date", "run"]).mean()
    means = read_run_means(store, "contact_time_s").set_index(["athlete", "date", "run"])["value"]
    pd.testing.assert_series_equal(means, wanted, check_names=False)


def test_a_metric_nobody_has_is_missing_for_every_run(store, add):
    add()
    means = read_run_means(store, "trunk_lean_deg")
    assert means["value"].isna().all()
    assert means["n"].tolist() == [0, 0]
    assert means["definition_number"].isna().all()


@pytest.mark.parametrize(
    ("chosen", "found"),
    [
        (Chosen(), ["A07 2026-10-03", "A07 2026-10-10", "B02 2026-10-10"]),
        (Chosen(athletes=("B02",)), ["B02 2026-10-10"]),
        (Chosen(athletes=()), []),
        (Chosen(since="2026-10-04"), ["A07 2026-10-10", "B02 2026-10-10"]),
        (Chosen(until="2026-10-03"), ["A07 2026-10-03"]),
        (Chosen(since="2026-10-10", until="2026-10-10", athletes=("A07",)), ["A07 2026-10-10"]),
    ],
)
def test_only_the_chosen_are_read(store, add, chosen, found):
    for number, (athlete, date) in enumerate(
        [("B02", "2026-10-10"), ("A07", "2026-10-03"), ("A07", "2026-10-10")]
    ):
        add(athlete, date, logs=(f"{number:02d}",))
    read = [
        read_sessions(store, chosen),
        read_runs(store, chosen),
        read_pushes(store, chosen),
        read_run_means(store, "contact_time_s", chosen=chosen),
    ]
    for table in read:
        assert list(dict.fromkeys(table["athlete"] + " " + table["date"])) == found


def test_a_stream_gives_the_same_in_parts(store, add):
    for number in range(5):
        add(date=f"2026-10-0{number + 1}", logs=(f"{number:02d}",))
    parts = list(stream_pushes(store, at_once=2))
    assert [len(part) for part in parts] == [20, 20, 10]
    pd.testing.assert_frame_equal(pd.concat(parts, ignore_index=True), read_pushes(store))


def test_only_the_metrics_asked_for_in_their_order(store, add):
    add()
    pushes = read_pushes(store, metrics=["edge_angle_deg", "unknown_deg", "contact_time_s"])
    assert pushes.columns[-3:].tolist() == ["edge_angle_deg", "unknown_deg", "contact_time_s"]
    assert pushes["unknown_deg"].isna().all()
    assert pushes["edge_angle_deg"].tolist() == [20.0 + i for i in range(10)]


def test_an_empty_store_gives_empty_tables(store):
    for table in (read_sessions(store), read_runs(store), read_pushes(store), read_run_means(store, "x_s")):
        assert table.empty
        assert "athlete" in table
