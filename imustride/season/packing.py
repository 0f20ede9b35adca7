"""Rows of a table as rows of the store: numbers packed, the rest as text; and back."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

import numpy as np
import sqlalchemy as sa

from imustride.errors import StoreError
from imustride.season.tables import layouts

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd
    from numpy.typing import NDArray

NUMBER = np.dtype("<f8")
KEYS = ("run", "side", "push", "phase", "flags")  # columns of their own in the store


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


def pack_pushes(table: pd.DataFrame) -> tuple[tuple[str, ...], list[dict[str, Any]]]:
    """Return the names of the packed columns, and a row of the store for each push.

    Parameters
    ----------
    table : DataFrame
        As ``pushes.csv``; every column but the keys holds numbers and is packed.

    Raises
    ------
    StoreError
        If a further column holds anything else.
    """
    names = tuple(str(name) for name in table.columns if name not in KEYS)
    words = [name for name in names if table[name].dtype.kind not in "fiub"]
    if words:
        message = (
            f"pushes.csv: column {words[0]!r} holds text, wanted numbers: a metric is a number for each push"
        )
        raise StoreError(message)
    packed = table[list(names)].to_numpy(dtype=NUMBER, na_value=np.nan)
    rows = table[["side", "push", "phase", "flags"]].itertuples(index=False)
    return names, [
        {"side": side, "push": int(push), "phase": phase, "flags": flags, "record": values.tobytes()}
        for (side, push, phase, flags), values in zip(rows, packed, strict=True)
    ]


def layout_number(connection: sa.Connection, names: Sequence[str]) -> int:
    """Return the number of a layout, which is made if it is new."""
    text = to_json(list(names))
    found = connection.execute(sa.select(layouts.c.id).where(layouts.c.names == text)).scalar()
    if found is None:
        found = connection.execute(layouts.insert().returning(layouts.c.id), {"names": text}).scalar_one()
    return int(found)


def all_layouts(connection: sa.Connection) -> dict[int, tuple[str, ...]]:
    """Return the names of the packed columns by the number of the layout."""
    return {number: tuple(json.loads(names)) for number, names in connection.execute(sa.select(layouts))}


def unpack(packed: Iterable[bytes], width: int) -> NDArray[np.float64]:
    """Return packed rows as an array, shape (n, width)."""
    return np.frombuffer(b"".join(packed), dtype=NUMBER).reshape(-1, width)
