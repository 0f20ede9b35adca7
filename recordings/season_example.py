# ruff: noqa: INP001 - a script beside the recordings, no package
"""A season for the researcher: from invented sessions to one table and three figures.

Run it in an empty folder of your own::

    python recordings/season_example.py my-season

Each step is a command of imustride, so that your own sessions can take the place of the invented ones: leave out the
first step, and name your session folders in the second. What was truly changed stands in ``sessions/season.csv``.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pandas as pd

mpl.use("Agg")
from matplotlib import pyplot as plt

COMMAND = (sys.executable, "-c", "from imustride.cli import main; main()")
LEVEL, ASYMMETRY = "push_off_angular_velocity_deg_s", "asymmetry:contact_time_s"
INK, GREY = "#222222", "#767676"


def imustride(*arguments: object) -> str:
    """Run a command; return what it prints."""
    call = [*COMMAND, *map(str, arguments)]
    done = subprocess.run(call, check=True, capture_output=True, text=True)  # noqa: S603 - our own command
    return done.stdout


def make_season(out: Path, athletes: int, sessions: int, runs: int) -> Path:
    """Simulate, analyse, record consent, add to a store; return the store."""
    folder, results, store = out / "sessions", out / "results", out / "season.db"
    size = ("--athletes", athletes, "--sessions", sessions, "--runs", runs)
    imustride("simulate", "--season", *size, "--out", folder)
    imustride("analyse", *sorted(path for path in folder.iterdir() if path.is_dir()), "--out", results)
    for code in pd.read_csv(folder / "season.csv")["athlete"].unique():
        consent = ("--by", "guardian", "--assent", "--birth-year", 2011, "--date", "2025-09-01")
        imustride("season", "consent", "record", code, *consent, "--store", store)
    imustride("season", "add", results, "--store", store)
    return store


def one_table(courses: list[dict]) -> pd.DataFrame:
    """Return one row an athlete and metric: what was judged, and how repeatable the metric is."""
    rows = []
    for course in courses:
        told = course["judged"]
        figures = {(one["scope"], one["quantity"], one["form"][:8]): one for one in course["reliability"]}
        between = "session to session"
        icc = figures.get((between, "intraclass correlation", "ICC(1,1)"), {})
        error = figures.get((between, "typical error", "sqrt(mea"), {})
        rows.append(
            {
                "athlete": course["athlete"],
                "metric": course["name"],
                "unit": course["unit"],
                "sessions": told["sessions"],
                "runs": told["runs"],
                "change": told["change"],
                "ci_low": told["change_ci_low"],
                "ci_high": told["change_ci_high"],
                "verdict": told["verdict"],
                "p_adjusted": told["p_adjusted"],
                "step": told["step"],
                "step_from": told["step_from"],
                "session_sd": told["session_sd"],
                "typical_error": error.get("value"),
                "icc_1_1": icc.get("value"),
                "side": course["side"].get("side", ""),
            }
        )
    return pd.DataFrame(rows)


def draw_courses(courses: list[dict], name: str, label: str, path: Path) -> None:
    """Draw one metric, a panel an athlete: sessions with their 95 % bands."""
    mine = [course for course in courses if course["name"] == name and course["points"]]
    drawn, panels = plt.subplots(len(mine), 1, figsize=(6, 1.6 * len(mine)), sharex=True, squeeze=False)
    for axes, course in zip(panels[:, 0], mine, strict=True):
        points = pd.DataFrame(course["points"])
        days = pd.to_datetime(points["date"])
        if points["band_low"].notna().all():
            axes.vlines(days, points["band_low"].astype(float), points["band_high"].astype(float), color=INK)
        axes.plot(days, points["level"], "o", color=INK)
        if name.startswith("asymmetry:"):
            axes.axhline(0.0, color=GREY, linewidth=0.8)
        for changed in days[points["changed"].map(len) > 0]:
            axes.axvline(changed, color=GREY, linestyle=":")
        axes.set_title(f"{course['athlete']}: {course['judged']['verdict']}", loc="left", fontsize=9)
    drawn.supylabel(label)
    drawn.autofmt_xdate()
    drawn.savefig(path, bbox_inches="tight")
    plt.close(drawn)


def draw_steps(table: pd.DataFrame, path: Path) -> None:
    """Draw the largest step of each course against what the noise of its sessions lets one see."""
    detectable = 1.959963984540054 * np.sqrt(2.0) * table["session_sd"].astype(float)
    ratio = (table["step"].astype(float) / detectable).abs()
    drawn, axes = plt.subplots(figsize=(6, 3.2))
    for place, (metric, rows) in enumerate(table.groupby("metric", sort=False)):
        real = rows["verdict"] == "real change"
        axes.plot(ratio[rows.index][~real], np.full((~real).sum(), place), "o", color=INK, fillstyle="none")
        axes.plot(ratio[rows.index][real], np.full(real.sum(), place), "o", color=INK)
        axes.text(0.02, place + 0.2, metric, transform=axes.get_yaxis_transform(), fontsize=8)
    axes.set_yticks([])
    axes.set_ylim(-0.5, table["metric"].nunique())
    axes.set_xlim(left=0.0)
    axes.axvline(1.0, color=GREY, linestyle=":")
    axes.set_xlabel("largest step, in minimal detectable changes (filled: real change)")
    drawn.savefig(path, bbox_inches="tight")
    plt.close(drawn)


def main(arguments: list[str] | None = None) -> None:
    """Make the season, its table and its figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("out", type=Path, help="new folder")
    for name, default in (("athletes", 4), ("sessions", 8), ("runs", 2)):
        parser.add_argument(f"--{name}", type=int, default=default)
    asked = parser.parse_args(arguments)
    asked.out.mkdir(parents=True)
    store = make_season(asked.out, asked.athletes, asked.sessions, asked.runs)
    courses = json.loads(imustride("season", "compare", "--group", "--store", store, "--json"))["courses"]
    table = one_table(courses)
    table.to_csv(asked.out / "table.csv", index=False)
    draw_courses(courses, LEVEL, "push-off angular velocity [deg/s]", asked.out / "figure-1.png")
    draw_courses(courses, ASYMMETRY, "contact time, right against left [%]", asked.out / "figure-2.png")
    draw_steps(table, asked.out / "figure-3.png")


if __name__ == "__main__":
    main()
