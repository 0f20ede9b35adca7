"""Tables as text: UTF-8, comma, LF, a header; empty where missing; booleans true and false."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

TIME_DECIMALS = 5  # a hundredth of a millisecond: below the sampling interval of any sensor
SIGNIFICANT_DIGITS = 6  # well beyond what any of the quantities is known to

# A spreadsheet would run a cell that begins so as a formula.
_FORMULA = re.compile(r"[=+\-@\t\r]")
_TIME = re.compile(r"(?<!_m)(?<!_deg)(?<!_rad)_s$")


def csv_text(table: pd.DataFrame) -> str:
    """Return a table as comma-separated text.

    Columns whose name ends in ``_s`` (seconds) carry five decimals, other floating-point columns
    six significant digits, floating-point columns that hold nothing but whole numbers no
    decimals. Text that a spreadsheet would take for a formula is preceded by an apostrophe.

    Parameters
    ----------
    table : DataFrame
        One row per line; the index is not written.

    Returns
    -------
    str
    """
    columns = [_column(table[name], str(name)) for name in table.columns]
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow([_guarded(str(name)) for name in table.columns])
    writer.writerows(zip(*columns, strict=True))
    return buffer.getvalue()


def _column(values: pd.Series[Any], name: str) -> list[str]:
    if values.dtype.kind == "f":
        numbers = values.to_numpy(dtype=float)
        return [_number(number, _form(numbers, name)) for number in numbers]
    missing = values.isna().to_numpy()
    return ["" if gone else _cell(value) for value, gone in zip(values, missing, strict=True)]


def _form(numbers: NDArray[np.float64], name: str) -> str:
    if _TIME.search(name):
        return f".{TIME_DECIMALS}f"
    finite = numbers[np.isfinite(numbers)]
    whole = finite.size > 0 and bool(np.all(finite == np.round(finite)))
    return ".0f" if whole else f".{SIGNIFICANT_DIGITS}g"


def _number(number: float, form: str) -> str:
    if not np.isfinite(number):
        return ""
    text = format(number, form)
    return text.removeprefix("-") if float(text) == 0 else text


def _cell(value: Any) -> str:
    if isinstance(value, bool | np.bool_):
        return "true" if value else "false"
    if isinstance(value, float | np.floating):
        return _number(float(value), f".{SIGNIFICANT_DIGITS}g")
    return str(value) if isinstance(value, int | np.integer) else _guarded(str(value))


def _guarded(text: str) -> str:
    return f"'{text}" if _FORMULA.match(text) else text
