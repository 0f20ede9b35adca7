"""What is read of a Parquet file in a process of its own, see `apart_child`; imports nothing of the package.

What the file declares of its sizes is checked before a value is read; values are read in blocks, so that a column that
unpacks to more than it says is stopped on the way.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

# Seven columns of 12 h at 1 kHz in float64 are 2.4 GB.
MAX_BYTES = 2_500_000_000
# As for HDF5: noise packs badly; what shrinks to less than a thousandth holds no recording. Small files are free to.
MAX_RATIO = 1100
FREE_BYTES = 16_000_000
BUFFER_BYTES = 1 << 18
LIMITS = {"thrift_string_size_limit": 1 << 24, "thrift_container_size_limit": 1 << 20}


def read(path: str, wanted: list[str], length: int) -> Iterator[Any]:
    """Yield names, what is wrong with the wanted columns and the number of rows; then blocks of rows, one array each."""
    import pyarrow as pa
    from pyarrow.parquet import ParquetFile

    pa.set_cpu_count(1)
    with ParquetFile(path, page_checksum_verification=True, buffer_size=BUFFER_BYTES, **LIMITS) as file:
        names = [str(name) for name in file.schema_arrow.names]
        problem = _problem(file, names, wanted, Path(path).stat().st_size) if wanted else ""
        yield {"names": names, "problem": problem, "rows": file.metadata.num_rows}
        if problem or not wanted:
            return
        for batch in file.iter_batches(length, columns=wanted, use_threads=False):
            columns = (batch.column(name).to_numpy(zero_copy_only=False) for name in wanted)
            yield np.column_stack([np.asarray(column, dtype=np.float64) for column in columns])


def _problem(file: Any, names: list[str], wanted: list[str], size: int) -> str:
    """Tell of columns that are no plain numbers, and of sizes that no recording has."""
    from pyarrow import types

    wrong = [name for name in wanted if names.count(name) != 1]
    if wrong:
        shown = ", ".join("".join(c for c in name if c.isprintable())[:40] for name in names[:30])
        what = "found twice" if names.count(wrong[0]) > 1 else "not found"
        return f"column {', '.join(wrong)} {what}; the file has {shown or 'none'}; correct [columns] in session.toml"
    for name in wanted:
        kind = file.schema_arrow.field(name).type
        if not (types.is_integer(kind) or types.is_floating(kind)):
            return f"column {name}: found type {kind}; wanted numbers; correct [columns] in session.toml"
    rows = file.metadata.num_rows
    if rows <= 0:
        return "no rows; wanted samples; copy the file from the sensor again"
    groups = [file.metadata.row_group(i) for i in range(file.num_row_groups)]
    unpacked = sum(
        group.column(i).total_uncompressed_size for group in groups for i in range(group.num_columns)
    )
    declared = max(rows * 8 * len(wanted), unpacked)
    if declared > min(MAX_BYTES, max(FREE_BYTES, MAX_RATIO * size)):
        return (
            f"declares {declared} bytes, stored in {size}; wanted less than {MAX_BYTES} bytes in memory and "
            f"{MAX_RATIO} times the stored size; split the recording"
        )
    return ""
