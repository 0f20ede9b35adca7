"""Whether a change over a season is more than what sessions differ by without one.

Model of one metric: ``level of a session = athlete + change since the first session + noise of the session``,
where the noise holds the day and the few runs of it. How large it is, the athlete's own sessions say together
with the group (`noise`). A real change is a step (`steps`) that chance alone hardly makes, with Holm's correction over
the metrics named beforehand. No change that matters is a course in which every step is smaller than what matters, each
with its uncertainty. Anything else is unclear.

References
----------
Holm S. (1979) A simple sequentially rejective multiple test procedure. Scand. J. Stat. 6:65-70.
Schuirmann D. J. (1987) A comparison of the two one-sided tests procedure and the power approach. J. Pharmacokinet.
Biopharm. 15:657-680. Berger R. L., Hsu J. C. (1996) Bioequivalence trials, intersection-union tests and
equivalence confidence sets. Stat. Sci. 11:283-319 (all steps must pass, none is paid for).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from imustride.errors import SettingsError
from imustride.season.levels import session_levels
from imustride.season.noise import left_over, relative_weights, rounding, said_by_others
from imustride.season.steps import FEWEST_SESSIONS, all_steps, chance_ratios

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.season.noise import Noise
    from imustride.season.steps import Steps

LEVEL: Final = 0.95
MOST_METRICS: Final = 6
REAL: Final = "real change"
UNCLEAR: Final = "unclear"
NONE_THAT_MATTERS: Final = "no change that matters"
VERDICTS: Final = (REAL, UNCLEAR, NONE_THAT_MATTERS)

NAN: Final = float("nan")


@dataclass(frozen=True, slots=True)
class Change:
    """What one metric of one athlete did over the season; numbers in the metric's unit, NaN where not told.

    Parameters
    ----------
    metric, athlete : str
    sessions, runs : int
        Those with a value.
    change, change_ci_low, change_ci_high : float
        Mean of the last third of the sessions (two at least) less that of the first third, and its 95 % interval.
    session_sd, session_freedom : float
        Noise of one session, and the degrees of freedom behind it.
    learnt_from : int
        Other athletes the noise was learnt from.
    step, step_ci_low, step_ci_high : float
        Best step, and its 95 % interval, as wide as its choice among all steps asks for.
    step_from, step_to : date or None
        First and last session at the new level.
    p_value, p_adjusted : float
        How often chance alone makes a step as strong; and with Holm's correction over the metrics.
    smallest : float
        Smallest change that matters.
    verdict, reason : str
        One of `VERDICTS`, and why.
    """

    metric: str
    athlete: str
    sessions: int
    runs: int
    change: float = NAN
    change_ci_low: float = NAN
    change_ci_high: float = NAN
    session_sd: float = NAN
    session_freedom: float = NAN
    learnt_from: int = 0
    step: float = NAN
    step_ci_low: float = NAN
    step_ci_high: float = NAN
    step_from: object = None
    step_to: object = None
    p_value: float = NAN
    p_adjusted: float = NAN
    smallest: float = NAN
    verdict: str = UNCLEAR
    reason: str = ""


def judge_season(
    metrics: Mapping[str, pd.DataFrame], smallest: Mapping[str, float] | None = None
) -> pd.DataFrame:
    """Judge the metrics named beforehand, for every athlete.

    Parameters
    ----------
    metrics : mapping of str to DataFrame
        At most six: by the metric's name its values, one row a run, as `session_levels` takes them. Sessions that
        are not alike are left out beforehand (`like`).
    smallest : mapping of str to float, optional
        Smallest change that matters, by metric and in its unit. A metric without one is never said not to change.

    Returns
    -------
    DataFrame
        One row an athlete and metric with the fields of `Change`, by athlete.

    Raises
    ------
    SettingsError
        If there is no metric or more than six, or a smallest change is not positive.
    """
    import pandas as pd

    if not 1 <= len(metrics) <= MOST_METRICS:
        message = (
            f"season: {len(metrics)} metrics to judge; wanted 1 to {MOST_METRICS}, named beforehand: "
            "the more are looked at, the more change by chance; choose fewer"
        )
        raise SettingsError(message)
    wanted = dict(smallest or {})
    for name, value in wanted.items():
        if not value > 0.0:
            message = (
                f"season: smallest change of {name} is {value}; wanted more than 0; leave it out or set it"
            )
            raise SettingsError(message)
    found: dict[str, list[Change]] = {}
    for name, values in metrics.items():
        told = changes(name, session_levels(values), wanted.get(name, NAN), len(metrics))
        for athlete in values["athlete"].astype(str).unique():
            nothing = Change(name, athlete, 0, 0, reason="no session with a value")
            found.setdefault(athlete, []).append(told.get(athlete, nothing))
    rows = [asdict(change) for athlete in sorted(found) for change in corrected(found[athlete], len(metrics))]
    return pd.DataFrame(rows, columns=list(Change.__dataclass_fields__))


def changes(metric: str, levels: pd.DataFrame, smallest: float, family: int) -> dict[str, Change]:
    """Weigh one metric, before the correction over the metrics, by athlete.

    Parameters
    ----------
    metric : str
    levels : DataFrame
        From `session_levels`.
    smallest : float
        Smallest change that matters, NaN where none is known [unit of the metric].
    family : int
        Number of metrics judged together.
    """
    weight = relative_weights(levels)
    parts = {
        str(athlete): np.flatnonzero(levels["athlete"] == athlete) for athlete in levels["athlete"].unique()
    }
    left = {athlete: left_over(levels.iloc[rows], weight[rows]) for athlete, rows in parts.items()}
    out = {}
    for athlete, rows in parts.items():
        others = [one for name, one in left.items() if name != athlete and one is not None]
        course = levels.iloc[rows]
        empty = Change(metric, athlete, len(course), int(course["runs"].sum()), smallest=smallest)
        out[athlete] = weigh(empty, course, weight[rows], said_by_others(others), family)
    return out


def weigh(
    empty: Change, levels: pd.DataFrame, weight: NDArray[np.float64], noise: Noise, family: int
) -> Change:
    """Weigh one athlete's course; `unclear` until the correction, or `no change that matters`."""
    n = len(levels)
    if n < FEWEST_SESSIONS:
        reason = f"{n} session{'s' * (n != 1)} with a value: a change is told from {FEWEST_SESSIONS} on, two of them at the new level"
        return replace(empty, reason=reason)
    level = levels["level"].to_numpy(dtype=float)
    steps = all_steps(level, weight)
    best = steps.best()
    left = noise.joined(float(steps.left_over[best]), n - 2)
    if left[0] <= rounding(level):
        return replace(empty, reason="sessions do not scatter: their noise is not known")
    squared_error = steps.spread[best] * left[0]
    chance = chance_ratios(n, noise.freedom)
    p_value = float(1 + np.count_nonzero(chance >= steps.size[best] ** 2 / squared_error)) / (len(chance) + 1)
    step_half = float(np.sqrt(np.quantile(chance, LEVEL) * squared_error))
    size, spread, variance, freedom = thirds(level, weight, noise)
    if p_value <= 1.0 - LEVEL:  # a step inside a third is no noise
        variance, freedom = left
    half = _t_quantile(0.5 * (1.0 + LEVEL), freedom) * np.sqrt(spread * variance)
    day = levels["date"].to_list()
    return replace(
        empty,
        change=size,
        change_ci_low=size - half,
        change_ci_high=size + half,
        session_sd=float(np.sqrt(variance)),
        session_freedom=freedom,
        learnt_from=noise.athletes,
        step=float(steps.size[best]),
        step_ci_low=float(steps.size[best]) - step_half,
        step_ci_high=float(steps.size[best]) + step_half,
        step_from=day[steps.start[best]],
        step_to=day[steps.stop[best] - 1],
        p_value=p_value,
        verdict=NONE_THAT_MATTERS if largest_likely(steps, noise, family, n) < empty.smallest else UNCLEAR,
    )


def thirds(
    level: NDArray[np.float64], weight: NDArray[np.float64], noise: Noise
) -> tuple[float, float, float, float]:
    """Compare the last third of a course with the first, a third being two sessions at least.

    Returns
    -------
    size : float
        [unit of the metric]
    spread : float
        Variance of `size` over that of one session.
    variance : float
        Of one session, from what sessions differ by within the first, middle and last third [unit squared].
    freedom : float
    """
    n = len(level)
    third = max(2, -(-n // 3))
    parts = [
        part for part in (slice(0, third), slice(third, n - third), slice(n - third, n)) if level[part].size
    ]
    mean = [float(np.average(level[part], weights=weight[part])) for part in parts]
    squares = sum(
        float(np.sum(weight[part] * (level[part] - m) ** 2)) for part, m in zip(parts, mean, strict=True)
    )
    variance, freedom = noise.joined(squares, n - len(parts))
    spread = float(1.0 / weight[parts[0]].sum() + 1.0 / weight[parts[-1]].sum())
    return mean[-1] - mean[0], spread, variance, freedom


def largest_likely(steps: Steps, noise: Noise, family: int, sessions: int) -> float:
    """Return how large any step may still be, each by its own one-sided limit at 5 % over the metrics [unit]."""
    freedom = noise.freedom + sessions - 2
    variance = (noise.freedom * noise.variance + steps.left_over) / freedom
    quantile = _t_quantile(1.0 - (1.0 - LEVEL) / family, freedom)
    return float(np.max(np.abs(steps.size) + quantile * np.sqrt(steps.spread * variance)))


def corrected(family: list[Change], metrics: int) -> list[Change]:
    """Give one athlete's metrics their verdicts, corrected over all metrics named."""
    adjusted = holm(np.array([one.p_value for one in family]), metrics)
    return [_with_verdict(one, p) for one, p in zip(family, adjusted.tolist(), strict=True)]


def holm(p_value: NDArray[np.float64], family: int) -> NDArray[np.float64]:
    """Adjust p values by Holm (1979).

    Parameters
    ----------
    p_value : ndarray, shape (k,)
        NaN where not told; stays so.
    family : int
        Number of metrics named, at least k: one that was not told counts.
    """
    order = np.argsort(p_value)  # NaN last
    steps = (family - np.arange(len(order))) * p_value[order]
    out = np.full(len(order), NAN)
    out[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return out


def _with_verdict(change: Change, adjusted: float) -> Change:
    if change.reason:
        return change
    told = replace(change, p_adjusted=adjusted)
    if change.verdict == NONE_THAT_MATTERS:
        return replace(told, reason="no lasting step can be as large as what matters")
    if adjusted <= 1.0 - LEVEL:
        return replace(told, verdict=REAL, reason="chance alone hardly makes such a step")
    if np.isnan(change.smallest):
        return replace(told, reason="sessions alone may differ so; how much matters is not known")
    return replace(told, reason="sessions alone may differ so, and a change that matters may hide in it")


def _t_quantile(share: float, freedom: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, share))


def band(levels: pd.DataFrame) -> pd.DataFrame:
    """Return every course with its measurement band: where the athlete's level of that day lies, 95 %.

    Parameters
    ----------
    levels : DataFrame
        From `session_levels`, of the whole group.

    Returns
    -------
    DataFrame
        `levels` with band_low and band_high [unit of the metric]; NaN below four sessions.
    """
    told = changes("", levels, NAN, 1)
    known = [told[str(athlete)] for athlete in levels["athlete"]]
    quantile = [_t_quantile(0.5 * (1.0 + LEVEL), one.session_freedom) for one in known]
    sd = np.array([one.session_sd for one in known]) / np.sqrt(relative_weights(levels))
    half = np.array(quantile) * sd
    return levels.assign(band_low=levels["level"] - half, band_high=levels["level"] + half)
