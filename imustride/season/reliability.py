"""How repeatable a metric is, from the runs of a season themselves.

Two scopes: run to run within a session, and session to session (means of the session's runs). Nothing is known of
what is true, so a change of an athlete over the season counts as noise here: choose sessions between which none
was to be expected, or leave out athletes who changed.

Standard error of measurement (SEM): everything repeats differ by. Typical error: the same without what shifted all
athletes alike (run order, day). With unequal numbers the mean squares are those of unweighted means. The degrees of
freedom are Satterthwaite's: fewer where athletes differ in their noise, or share that of a day.

References
----------
Hopkins W. G. (2000) Measures of reliability in sports medicine and science. Sports Med. 30:1-15 (typical error, CV
by logarithm, 0.2 of the spread between athletes).
Weir J. P. (2005) Quantifying test-retest reliability using the intraclass correlation coefficient and the SEM.
J. Strength Cond. Res. 19:231-240, doi 10.1519/15184.1 (SEM, minimal difference).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from imustride.season.agreement import NORMAL_95, Estimate, icc_agreement, icc_one_way, of_mean, two_way
from imustride.season.components import MeanSquare, of_difference, of_sum
from imustride.season.levels import check_values, session_levels
from imustride.season.repeats import run_repeats, session_repeats

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from imustride.season.repeats import Repeats

WITHIN: Final = "run to run, within a session"
BETWEEN: Final = "session to session"
ICC: Final = "intraclass correlation"

# Fewer degrees of freedom than this, and nothing is told: at three the interval of an SD is 0.57 to 3.7 times the
# estimate. An age group is two years wide, as the classes of youth sport are. Both common practice, no source.
FEWEST_FREEDOM: Final = 3
AGE_GROUP_YEARS: Final = 2
WORTHWHILE: Final = 0.2

NAN: Final = float("nan")


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of reliability: NaN with a reason where it cannot be told."""

    scope: str
    quantity: str
    form: str
    value: float = NAN
    ci_low: float = NAN
    ci_high: float = NAN
    freedom: float = NAN
    reason: str = ""


def reliability(values: pd.DataFrame, *, signed: bool = False) -> pd.DataFrame:
    """Return how repeatable one metric is.

    Parameters
    ----------
    values : DataFrame
        One row a run: athlete, date, session, run, phase, n, value; birth_year where the smallest worthwhile change is
        wanted. Runs without a value do not count.
    signed : bool
        Whether the value has a side (asymmetry): no CV and no smallest worthwhile change, since zero is in its
        middle and the spread between athletes says nothing of what matters.

    Returns
    -------
    DataFrame
        scope, quantity, form (the formula), value, ci_low, ci_high (95 %), freedom, reason (why there is no value),
        athletes, sessions, runs.

    Raises
    ------
    SettingsError
        As `session_levels`.
    """
    import pandas as pd

    check_values(values)
    known = values[np.isfinite(values["value"])].sort_values(["athlete", "date", "session", "run"])
    levels = session_levels(known)
    runs, sessions = run_repeats(known), session_repeats(levels)
    positive = bool((known["value"] > 0.0).all())
    no_cv = (
        "signed: zero lies in its middle" if signed else "" if positive else "values that are not positive"
    )
    figures = []
    for scope, repeats, shared in ((WITHIN, runs, "run order"), (BETWEEN, sessions, "day")):
        figures += errors(scope, repeats, shared)
        figures.append(variation(scope, repeats, no_cv))
    figures += correlations(sessions, runs)
    figures.append(worthwhile(known, sessions, signed=signed))
    table = pd.DataFrame([asdict(one) for one in figures])
    return table.assign(athletes=levels["athlete"].nunique(), sessions=len(levels), runs=len(known))


def errors(scope: str, repeats: Repeats, shared: str) -> list[Figure]:
    """SEM, typical error and minimal detectable change."""
    sem, typical = repeats.sem(), repeats.typical()
    reason = f"no {shared} in common" if typical.freedom < 1.0 else ""
    form = f"sqrt(mean square left, {shared} taken out)"
    twice = sem.over(2.0 * NORMAL_95**2)
    return [
        spread(scope, "standard error of measurement", "sqrt(mean square within)", sem),
        spread(scope, "typical error", form, typical, reason),
        spread(scope, "minimal detectable change", "1.96 sqrt(2) SEM", twice),
    ]


def spread(scope: str, quantity: str, form: str, square: MeanSquare, reason: str = "") -> Figure:
    """Root of a mean square, its interval by chi-square."""
    if reason or square.freedom < FEWEST_FREEDOM:
        said = reason or f"{square.freedom:.1f} degrees of freedom, wanted {FEWEST_FREEDOM}: too few repeats"
        return Figure(scope, quantity, form, reason=said)
    below, above = square.reach()
    value, low, high = np.sqrt(square.value * np.array([1.0, 1.0 - below, 1.0 + above])).tolist()
    return Figure(scope, quantity, form, value, low, high, square.freedom)


def variation(scope: str, repeats: Repeats, reason: str) -> Figure:
    """SEM of the logarithms, as coefficient of variation."""
    quantity, form = "coefficient of variation [%]", "100 (exp(SEM of logarithms) - 1)"
    if reason:
        return Figure(scope, quantity, form, reason=reason)
    found = spread(scope, quantity, form, replace(repeats, value=np.log(repeats.value)).sem())
    value, low, high = (100.0 * float(np.expm1(x)) for x in (found.value, found.ci_low, found.ci_high))
    return replace(found, value=value, ci_low=low, ci_high=high)


def between_athletes(sessions: Repeats) -> MeanSquare:
    """Mean square of the athletes, each by the plain mean of its sessions."""
    means = sessions.means
    if len(means) < 2:
        return MeanSquare(NAN, 0.0)
    return MeanSquare(float(np.var(means, ddof=1)) * sessions.size, len(means) - 1.0)


def correlations(sessions: Repeats, runs: Repeats) -> list[Figure]:
    """Intraclass correlations of a run and of a session, the forms the data can carry."""
    athletes, of_sessions, of_runs = between_athletes(sessions), sessions.sem(), runs.sem()
    out = []
    reason = no_correlation(athletes, of_sessions) or no_correlation(athletes, of_runs)
    of_run = None if reason else icc_of_run(athletes, of_sessions, of_runs, sessions.size, runs.size)
    out += one_way_forms(WITHIN, runs.size, athletes, reason, of_run)
    reason = no_correlation(athletes, of_sessions)
    if reason:
        return out + one_way_forms(BETWEEN, sessions.size, athletes, reason)
    one = icc_one_way(athletes.value, of_sessions.value, athletes.freedom, of_sessions.freedom, sessions.size)
    out += one_way_forms(BETWEEN, sessions.size, athletes, reason, one)
    table = complete(sessions)
    if table is not None:
        two = two_way(table)
        consistency = icc_one_way(two.rows, two.left, two.n - 1, two.left_freedom, two.k)
        for form, found in (
            ("ICC(2,1) two-way: agreement, single", icc_agreement(two)),
            ("ICC(3,1) two-way: consistency, single", consistency),
        ):
            out.append(Figure(BETWEEN, ICC, form, found.value, found.low, found.high, athletes.freedom))
    return out


def icc_of_run(
    athletes: MeanSquare, sessions: MeanSquare, runs: MeanSquare, session_count: float, run_count: float
) -> Estimate:
    """ICC(1,1) of a run: its targets are sessions, which differ by their athletes and by themselves."""
    share = 1.0 / session_count
    value, low, high = of_sum(athletes.over(share), sessions.over(1.0 - share))
    below, above = runs.reach()
    ratio = run_count * value / runs.value
    low = ratio * (1.0 - np.hypot(1.0 - low / value, above / (1.0 + above)))
    high = ratio * (1.0 + np.hypot(high / value - 1.0, below / (1.0 - below)))
    return Estimate(*(float((f - 1.0) / (f - 1.0 + run_count)) for f in (ratio, low, high)))


def one_way_forms(
    scope: str, size: float, athletes: MeanSquare, reason: str, single: Estimate | None = None
) -> list[Figure]:
    """ICC(1,1) and with it ICC(1,k), or why there are none."""
    forms = "ICC(1,1) one-way: agreement, single", f"ICC(1,k) one-way: agreement, mean of {size:.3g}"
    if single is None:
        return [Figure(scope, ICC, form, reason=reason) for form in forms]
    return [
        Figure(scope, ICC, form, one.value, one.low, one.high, athletes.freedom)
        for form, one in zip(forms, (single, of_mean(single, size)), strict=True)
    ]


def no_correlation(athletes: MeanSquare, noise: MeanSquare) -> str:
    """Return why there is no correlation, else an empty string."""
    if athletes.freedom < FEWEST_FREEDOM:
        return f"{athletes.freedom + 1:.0f} athletes, wanted {FEWEST_FREEDOM + 1}"
    if noise.freedom < FEWEST_FREEDOM:
        return f"{noise.freedom:.1f} degrees of freedom of noise, wanted {FEWEST_FREEDOM}: too few repeats"
    return "" if noise.value > 0.0 else "repeats do not differ"


def complete(sessions: Repeats) -> NDArray[np.float64] | None:
    """Return athletes by days where every athlete has every day once, shape (athletes, days), else None."""
    shape = (len(sessions.counts), int(sessions.shift.max()) + 1)
    if len(sessions.value) != shape[0] * shape[1] or min(shape) < 2:
        return None
    table = np.full(shape, NAN)
    table[sessions.target, sessions.shift] = sessions.value
    return table if np.isfinite(table).all() else None


def worthwhile(known: pd.DataFrame, sessions: Repeats, *, signed: bool) -> Figure:
    """0.2 of the spread between athletes of one age group, noise taken out."""
    quantity, form = "smallest worthwhile change", f"{WORTHWHILE} SD between athletes, noise taken out"
    athletes, within = between_athletes(sessions), sessions.sem()
    reason = no_worthwhile(known, athletes, within, signed=signed)
    if reason:
        return Figure(BETWEEN, quantity, form, reason=reason)
    variance = np.maximum(of_difference(athletes, within), 0.0) / sessions.size
    value, low, high = (WORTHWHILE * np.sqrt(variance)).tolist()
    return Figure(BETWEEN, quantity, form, value, low, high, athletes.freedom)


def no_worthwhile(known: pd.DataFrame, athletes: MeanSquare, within: MeanSquare, *, signed: bool) -> str:
    """Return why the spread between athletes says nothing of what is worthwhile, else an empty string."""
    if signed:
        return "signed: the spread between athletes does not say what matters"
    if "birth_year" not in known.columns or known["birth_year"].isna().any():
        return "birth years not known: the spread between athletes may be of age"
    first, last = int(known["birth_year"].min()), int(known["birth_year"].max())
    if last - first >= AGE_GROUP_YEARS:
        return f"athletes born {first} to {last}: the spread between them is of age; choose one age group"
    if athletes.freedom < FEWEST_FREEDOM or within.freedom < FEWEST_FREEDOM:
        return (
            f"{athletes.freedom + 1:.0f} athletes, {within.freedom:.1f} degrees of freedom of noise: too few"
        )
    if athletes.value <= within.value:
        return "athletes differ no more than their sessions do"
    return ""


def own_typical_error(levels: pd.DataFrame) -> Figure:
    """Return one athlete's typical error from session to session: the smallest difference one session can show.

    Parameters
    ----------
    levels : DataFrame
        That athlete's rows of `session_levels`.

    Notes
    -----
    From successive sessions, SD of the differences over sqrt(2) (Hopkins 2000) about zero, so that a change over the
    season hardly counts. Degrees of freedom of successive differences: von Neumann J. et al. (1941) Ann. Math. Stat.
    12:153-162.
    """
    difference = np.diff(levels["level"].to_numpy(dtype=float))
    n = len(levels)
    form = f"own typical error, {n} sessions"
    if n < 2:
        return Figure(
            BETWEEN, "typical error", form, reason=f"{n} session{'s' * (n != 1)} with a value: too few"
        )
    square = MeanSquare(0.5 * float(np.mean(difference**2)), 2.0 * (n - 1) ** 2 / (3.0 * n - 4.0))
    return spread(BETWEEN, "typical error", form, square)
