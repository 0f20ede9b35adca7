"""``imustride export captions``: every push as a caption over the coach's own film."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from imustride.cli.language import check_language
from imustride.cli.talk import DONE, INCOMPLETE, Talk, dry_run_option, talk_options

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import pandas as pd

    from imustride.exporting.captions import Cue, FilmTime
    from imustride.results import RunResult, SessionResult
    from imustride.session import Session

Event = Literal["offset", "blade_off", "shock"]
Told = dict[str, tuple[Event, float]]
METRICS = (("contact_time_s", "s"), ("push_off_angular_velocity_deg_s", "deg/s"))
OPTIONS: Mapping[Event, str] = {"offset": "--offset", "blade_off": "--blade-off-at", "shock": "--shock-at"}


@click.command(
    short_help="WebVTT: every push as a caption over your own film.",
    epilog="Example: imustride export captions recordings/demo --shock-at run-1=12.34 --film-consent guardian",
)
@click.argument("session", type=click.Path(path_type=Path))
@click.option(
    "--offset",
    multiple=True,
    metavar="[RUN=]S",
    help="Film time when the run's clock (that of pushes.csv) shows zero; may be negative.",
)
@click.option(
    "--blade-off-at",
    "blade_off",
    multiple=True,
    metavar="[RUN=]S",
    help="Film time when the first blade of the run leaves the ice.",
)
@click.option(
    "--shock-at",
    "shock",
    multiple=True,
    metavar="[RUN=]S",
    help="Film time of the first shared shock before the run, which can be heard.",
)
@click.option(
    "--slower",
    type=click.FloatRange(0.01, 1000),
    default=1.0,
    show_default=True,
    help="How many times slower than life the film plays (shot at 240, shown at 30 pictures a second: 8).",
)
@click.option(
    "--film-consent",
    type=click.Choice(["self", "guardian"]),
    help="Who agreed that the athlete is filmed and the film captioned; for a minor: guardian.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("captions"),
    show_default=True,
    help="Folder, for a film a run; or NAME.vtt, for one film of all runs.",
)
@click.option("--language", default="en", show_default=True, help="Language of the captions.")
@click.option(
    "--store",
    metavar="PLACE",
    help="Store of the season: no captions where consent on record there was withdrawn; default: IMUSTRIDE_STORE, else none.",
)
@dry_run_option
@talk_options
def captions(
    talk: Talk,
    session: Path,
    slower: float,
    film_consent: str | None,
    out: Path,
    language: str,
    store: str | None,
    *,
    dry_run: bool,
    **when: tuple[str, ...],
) -> int:
    """Write a caption for every push of SESSION: foot and number, time on the ice, angular velocity at push-off.

    Say once for each film when something of the run is seen or heard in it, in seconds from the film's beginning; with several runs
    name the run: --shock-at run-1=12.34. Runs that are not named get no captions. Open the film and the file together in a player.
    """
    from imustride import pipeline
    from imustride.exporting.captions import webvtt, write_captions
    from imustride.loaders import open_session

    say = _say(language)
    opened = open_session(session)
    check_consent(opened, film_consent)
    check_store(opened, store)
    wanted = film_times(when, [run.name for run in opened.runs])
    talk.progress(f"analysing {session}")
    result = pipeline.analyse_session(session, pipeline.Settings())
    made, told, problems = _captioned(result, wanted, slower, say)
    for problem in problems:
        talk.problem(problem)
    about = f"{opened.date}, {opened.protocol}; consent to film: {film_consent}"
    for path, found in _files(made, out).items():
        if not dry_run:
            write_captions(path, webvtt(found, [about]))
        talk.lines(
            [f"{'would be written (dry run)' if dry_run else 'captions'}: {path}, {len(found)} pushes"]
        )
    talk.lines([line for run in told for line in run["notes"]])
    talk.data({"session": session, "runs": told, "problems": problems})
    return INCOMPLETE if problems else DONE


def _say(language: str) -> Callable[[pd.Series], Sequence[str]]:
    """Give what puts a push into words."""
    from imustride.report.amounts import Amounts
    from imustride.report.catalogue import catalogue

    check_language(language)
    words = catalogue(language)
    amounts = Amounts(words)

    def say(row: pd.Series) -> list[str]:
        head = f"{row['side'][0].upper()}{row['push']}"
        return [
            head,
            *(f"{words(f'metric.{name}.name')} {amounts.amount(row[name], of)}" for name, of in METRICS),
        ]

    return say


def check_consent(session: Session, film_consent: str | None) -> None:
    """Refuse captions without consent to the measurement and to the film.

    Raises
    ------
    SettingsError
        With what is missing.
    """
    from imustride.errors import SettingsError
    from imustride.season.consent import ADULT_AGE

    born = session.birth_year
    if session.consent is None:
        missing = "session.toml declares no consent to the measurement; declare it once it was given"
    elif film_consent is None:
        missing = (
            "nobody said that the athlete agreed to be filmed; once the athlete, or for a minor a guardian, has, "
            "add --film-consent self or --film-consent guardian"
        )
    elif film_consent == "self" and born is not None and session.date.year - born < ADULT_AGE:
        missing = f"--film-consent self is a minor's own (born in {born}); a guardian's is needed: --film-consent guardian"
    else:
        return
    message = f"{session.folder.resolve().name}: captions put a person's figures into a film, and {missing}"
    raise SettingsError(message)


def check_store(session: Session, place: str | None) -> None:
    """Refuse captions where the consent on record in the season's store no longer holds.

    A store that does not know the athlete, or has no consent on record, says nothing: then what the session declares counts.

    Parameters
    ----------
    session : Session
    place : str or None
        Of the store; None: the one that ``IMUSTRIDE_STORE`` names, if it is there.

    Raises
    ------
    SettingsError
        With the reason and what to do.
    StoreError
        If the store that was named cannot be used.
    """
    from imustride.errors import SettingsError
    from imustride.keeping.own_error import named_store
    from imustride.season.consent import consent_problem, consents_of
    from imustride.season.consented import athletes_of

    store, athlete = named_store(place), session.athlete
    if store is None or athlete not in athletes_of(store) or not consents_of(store, athlete):
        return
    problem = consent_problem(store, athlete, scope=None)
    if problem is not None:
        message = (
            f"{session.folder.resolve().name}: captions put a person's figures into a film, and {problem}"
        )
        raise SettingsError(message)


def film_times(when: Mapping[str, Sequence[str]], runs: Sequence[str]) -> Told:
    """Return for each run named what is seen in its film, and when [s].

    Raises
    ------
    click.UsageError
        If a text cannot be read, no run is meant, or one is named twice.
    """
    told: Told = {}
    for event, option in OPTIONS.items():
        for text in when[event]:
            name, at_s = _read(option, text, runs)
            if name in told:
                message = f"{option}: run {name!r} is named twice; say once when it is seen in its film"
                raise click.UsageError(message)
            told[name] = (event, at_s)
    if not told:
        message = f"nothing says where the runs lie in the film; give one of {', '.join(OPTIONS.values())}"
        raise click.UsageError(message)
    return told


def _read(option: str, text: str, runs: Sequence[str]) -> tuple[str, float]:
    from imustride.exporting.captions import LARGEST_S

    name, named, seconds = text.rpartition("=")
    if not named and len(runs) > 1:
        message = f"{option}: found {text!r}; the session has several runs, wanted RUN=SECONDS with one of {', '.join(runs)}"
        raise click.UsageError(message)
    run = name if named else runs[0]
    if run not in runs:
        message = f"{option}: found run {run!r}, wanted one of {', '.join(runs)}"
        raise click.UsageError(message)
    try:
        at_s = float(seconds)
    except ValueError:
        at_s = float("nan")
    if not abs(at_s) < LARGEST_S:
        message = f"{option}: found {seconds!r}, wanted seconds from the beginning of the film, such as 12.34"
        raise click.UsageError(message)
    return run, at_s


def _captioned(
    result: SessionResult, wanted: Told, slower: float, say: Callable[[pd.Series], Sequence[str]]
) -> tuple[dict[str, list[Cue]], list[dict[str, Any]], list[str]]:
    """Return the captions by run, what is told of each, and why others have none."""
    from imustride.errors import SignalQualityError
    from imustride.exporting.captions import caption_problem, cues

    made: dict[str, list[Cue]] = {}
    told: list[dict[str, Any]] = []
    problems: list[str] = []
    for run in result.runs:
        if run.name not in wanted:
            continue
        problem = caption_problem(run)
        try:
            film, notes = (None, []) if problem else _laid_beside(run, *wanted[run.name], slower)
        except SignalQualityError as error:
            film, problem = None, str(error)
        if film is None:
            problems.append(f"{run.name}: {problem}")
            continue
        made[run.name], before = cues(run, film, say)
        notes += [f"{run.name}: does not count in the comparison: {run.reason}"] if not run.usable else []
        notes += [f"{run.name}: {before} pushes before the film begins are left out"] if before else []
        offset_s = film.at_s - film.slower * film.event_s
        told.append({"run": run.name, "captions": len(made[run.name]), "offset_s": offset_s, "notes": notes})
    return made, told, problems


def _laid_beside(run: RunResult, event: Event, at_s: float, slower: float) -> tuple[FilmTime, list[str]]:
    """Return where a run lies in its film, and what to compare with the film."""
    from imustride.exporting.captions import FilmTime
    from imustride.filming import first_blade_off_s, shocks_before_s

    if event == "offset":
        return FilmTime(0.0, at_s, slower), []
    if event == "blade_off":
        return FilmTime(first_blade_off_s(run), at_s, slower), []
    shocks_s = shocks_before_s(run)
    film = FilmTime(float(shocks_s[0]), at_s, slower)
    others = ", ".join(f"{shock_s:.2f}" for shock_s in film.film_s(shocks_s[1:])) or "none"
    note = (
        f"{run.name}: to compare with the film: further shared shocks before the run at {others} s, first blade off the "
        f"ice at {film.film_s(first_blade_off_s(run)):.2f} s"
    )
    return film, [note]


def _files(made: Mapping[str, list[Cue]], out: Path) -> dict[Path, list[Cue]]:
    """Return which captions go to which file."""
    if out.suffix.lower() == ".vtt":
        together = [cue for found in made.values() for cue in found]
        return {out: together} if together else {}
    return {out / f"{name}.vtt": found for name, found in made.items()}
