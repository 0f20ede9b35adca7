"""Date-time stamps of text files as seconds: ISO 8601, day first or month first as declared, or a time of day."""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

CLOCK = r"(?P<clock>\d{1,2}:\d{2}:\d{2}(?:[.,]\d{1,9})?)(?P<zone> ?(?:Z|[+-]\d{2}:?\d{2}))?"
YEAR, MONTH, DAY = r"(?P<year>\d{4})", r"(?P<month>\d{1,2})", r"(?P<day>\d{1,2})"
MARK, GAP = r"[-/.]", r"(?:T|,? +)"
# What `units.time` may declare.
PATTERNS = {
    "date-time": f"(?:{YEAR}{MARK}{MONTH}{MARK}{DAY}{GAP})?{CLOCK}",
    "date-time day-first": f"{DAY}{MARK}{MONTH}{MARK}{YEAR}{GAP}{CLOCK}",
    "date-time month-first": f"{MONTH}{MARK}{DAY}{MARK}{YEAR}{GAP}{CLOCK}",
}
# Midnight of no day: what times of day are counted from.
NO_DAY = np.datetime64("1970-01-01")


def is_date_time(unit: str | None) -> bool:
    """Tell whether a declared unit of time stands for date-time stamps."""
    return unit in PATTERNS


def order_of(cells: list[str]) -> str | None:
    """Tell how stamps are written.

    Parameters
    ----------
    cells : list of str
        Of the first rows.

    Returns
    -------
    str or None
        What to declare as unit of time; ``?`` where day and month cannot be told apart, None where these are no
        date-times.

    Examples
    --------
    >>> order_of(["03.10.2026 14:05:06"]), order_of(["13.10.2026 14:05:06"]), order_of(["2026-10-03T14:05:06Z"])
    ('?', 'date-time day-first', 'date-time')
    """
    given = [cell for cell in cells if cell]
    if not given:
        return None
    if all(re.fullmatch(PATTERNS["date-time"], cell) for cell in given):
        return "date-time"
    matches = [re.fullmatch(PATTERNS["date-time day-first"], cell) for cell in given]
    dates = [(int(match["day"]), int(match["month"])) for match in matches if match]
    if len(dates) < len(given):
        return None
    is_day, is_month = any(day > 12 for day, _ in dates), any(month > 12 for _, month in dates)
    return "?" if is_day == is_month else "date-time day-first" if is_day else "date-time month-first"


def midnight(cell: str, unit: str) -> np.datetime64 | None:
    """Return the start of the day of a stamp, in UTC where it has a zone; `NO_DAY` for a time of day, None for no stamp."""
    match = re.fullmatch(PATTERNS[unit], cell)
    if match is None:
        return None
    parts = match.groupdict()
    year, month, day = (
        int(parts.get(part) or least) for part, least in (("year", 1970), ("month", 1), ("day", 1))
    )
    hour, minute, second = (int(part) for part in re.split("[:.,]", match["clock"])[:3])
    zone = (match["zone"] or "").strip().removeprefix("Z").replace(":", "")
    ahead = dt.timedelta(hours=int(zone[:3]), minutes=int(zone[0] + zone[3:])) if zone else dt.timedelta()
    try:
        at = dt.datetime(year, month, day, hour, minute, second, tzinfo=dt.UTC) - ahead
    except (ValueError, OverflowError):
        return None
    return np.datetime64(at.date())


def seconds(cells: pd.Series[str], unit: str, start: np.datetime64) -> NDArray[np.float64]:
    """Turn stamps into seconds.

    Parameters
    ----------
    cells : Series of str, shape (n,)
        NaN where missing.
    unit : str
        One of `PATTERNS`.
    start : datetime64
        Midnight from which is counted; in UTC where stamps carry a zone.

    Returns
    -------
    ndarray, shape (n,)
        NaN where a cell is empty or no such stamp.
    """
    import pandas as pd

    since = _stamps(cells, unit) - pd.Timestamp(start)
    return np.asarray(since.dt.total_seconds(), dtype=np.float64)


def _stamps(cells: pd.Series[str], unit: str) -> pd.Series[pd.Timestamp]:
    """Stamps without a zone, NaT where there is none."""
    import pandas as pd

    parts = cells.str.strip().str.extract(f"^{PATTERNS[unit]}$")
    date = parts["year"] + "-" + parts["month"].str.zfill(2) + "-" + parts["day"].str.zfill(2)
    clock = parts["clock"].str.replace(",", ".", regex=False)
    # 9:05:06 has a digit less than ISO 8601 wants.
    clock = clock.where(clock.str[1:2] != ":", "0" + clock)
    text = date.fillna(str(NO_DAY)) + "T" + clock + parts["zone"].fillna("").str.strip()
    stamps = pd.to_datetime(text, format="ISO8601", utc=True, errors="coerce")
    return stamps.dt.tz_localize(None)
