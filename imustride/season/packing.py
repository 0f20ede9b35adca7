"""Rows of a table as rows of the store: numbers packed, the rest as text; and back."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import sqlalchemy as sa

from imustride.season.tables import layouts

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd
    from numpy.typing import NDArray

NUMBER = np.dtype("<f8")
KEYS = ("run", "side", "push", "phase", "flags")  # columns of their own in the store


@dataclass(frozen=True, slots=True)
class Layout:
    """Names of the columns of numbers and of text that a push holds, in order."""

    numbers: tuple[str, ...]
    words: tuple[str, ...]


def to_json(value: object) -> str:
    """Return plain data as JSON text, the same for the same data; numbers that are missing are null."""
    return json.dumps(
        plain(value), ensure_ascii=False, sort_keys=True, allow_nan=False, separators=(",", ":")
    )


def plain(value: Any) -> Any:
    """Return a value as what JSON has a form for."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if hasattr(value, "item"):
        return plain(value.item())
    if value is None or isinstance(value, bool | int | str):
        return value
    return value if isinstance(value, float) and math.isfinite(value) else None


def records(table: pd.DataFrame, without: Sequence[str]) -> list[str]:
    """Return each row as JSON text, some columns left out."""
    return [to_json(row) for row in table.drop(columns=list(without)).to_dict("records")]


def pack_pushes(table: pd.DataFrame) -> tuple[Layout, list[dict[str, Any]]]:
    """Return what the records hold, and a row of the store for each push.

    Parameters
    ----------
    table : DataFrame
        As ``pushes.csv``; every column but the keys is packed.
    """
    further = [str(name) for name in table.columns if name not in KEYS]
    words = tuple(name for name in further if table[name].dtype.kind not in "fiub")
    numbers = tuple(name for name in further if name not in words)
    packed = table[list(numbers)].to_numpy(dtype=NUMBER, na_value=np.nan)
    texts = table[list(words)].fillna("").astype(str).to_numpy(dtype=object).tolist()
    rows = table[["side", "push", "phase", "flags"]].itertuples(index=False)
    return Layout(numbers, words), [
        {
            "side": side,
            "push": int(push),
            "phase": phase,
            "flags": flags,
            "words": to_json(text) if words else None,
            "record": values.tobytes(),
        }
        for (side, push, phase, flags), text, values in zip(rows, texts, packed, strict=True)
    ]


def layout_number(connection: sa.Connection, layout: Layout) -> int:
    """Return the number of a layout, which is made if it is new."""
    row = {"numbers": to_json(layout.numbers), "words": to_json(layout.words)}
    same = (layouts.c.numbers == row["numbers"]) & (layouts.c.words == row["words"])
    found = connection.execute(sa.select(layouts.c.id).where(same)).scalar()
    if found is None:
        found = connection.execute(layouts.insert().returning(layouts.c.id), row).scalar_one()
    return int(found)


def all_layouts(connection: sa.Connection) -> dict[int, Layout]:
    """Return what records hold, by the number of the layout."""
    found = connection.execute(sa.select(layouts).order_by(layouts.c.id))
    return {row.id: Layout(tuple(json.loads(row.numbers)), tuple(json.loads(row.words))) for row in found}


def unpack(packed: Iterable[bytes], width: int) -> NDArray[np.float64]:
    """Return packed rows as an array, shape (n, width)."""
    return np.frombuffer(b"".join(packed), dtype=NUMBER).reshape(-1, width)
