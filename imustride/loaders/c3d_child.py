"""What is read of a C3D file in a process of its own, see `apart_child`; imports nothing of the package."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

BLOCK_BYTES = 512  # C3D counts in blocks of so many bytes
MOST_FRAMES = 65535
LITTLE_ENDIAN = b"\x54"  # the other two kinds of processor (DEC, SGI) are of the past
OWN = "IMUSTRIDE"  # group of parameters that this program writes


def read(path: str, wanted: list[str]) -> Iterator[Any]:
    """Yield labels, units, rate, what cannot be true of the data and our own parameters; then the wanted channels."""
    import ezc3d

    file = ezc3d.c3d(path)
    parameters, analogs = file["parameters"], file["data"]["analogs"]
    labels = [_text(label) for label in _value(parameters, "ANALOG", "LABELS")]
    rows, samples = analogs.shape[1:] if len(analogs) else (0, 0)
    yield {
        "labels": labels[:rows],
        "units": [_text(unit) for unit in _value(parameters, "ANALOG", "UNITS")][:rows],
        "rate_hz": float(file["header"]["analogs"]["frame_rate"]),
        "problem": _problem(file, Path(path), (rows, samples)),
        "own": {
            name: _text(_value(parameters, OWN, name)[0])
            for name in ("START_S", "RATE_HZ", "SAMPLES")
            if OWN in parameters
        },
    }
    places = [labels.index(label) for label in wanted if labels.count(label) == 1]
    found = [place for place in places if place < rows]
    yield analogs[0][found] if rows else np.empty((0, samples))


def _problem(file: Any, path: Path, shape: tuple[int, ...]) -> str:
    """What of the data cannot be as the file says, in words; empty where it can."""
    header, parameters, size = file["header"], file["parameters"], path.stat().st_size
    frames = int(header["points"]["last_frame"]) - int(header["points"]["first_frame"]) + 1
    counted = _header_frames(path)
    said = frames if counted is None or counted == MOST_FRAMES else counted
    per_frame = round(header["analogs"]["frame_rate"] / (header["points"]["frame_rate"] or 1))
    words = 4 * int(header["points"]["size"]) + shape[0] * per_frame
    is_float = float(_value(parameters, "POINT", "SCALE")[0]) < 0
    start = BLOCK_BYTES * (int(_value(parameters, "POINT", "DATA_START")[0]) - 1)
    wanted = said * words * (4 if is_float else 2)
    if wanted > size - start:  # the library reads what is there
        return f"cut off: the samples need {wanted} bytes, {max(size - start, 0)} are there"
    if said != frames:
        return f"{said} frames in its header, {frames} in its parameters; wanted samples, as many in both"
    if shape[1] != frames * per_frame:
        return f"{shape[1]} samples read; wanted {frames * per_frame} as its header says"
    ends = [_value(parameters, "TRIAL", name) for name in ("ACTUAL_START_FIELD", "ACTUAL_END_FIELD")]
    if all(len(end) == 2 for end in ends):
        # Two words of 16 bits, the lower one first.
        first, last = ((int(low) & 0xFFFF) + ((int(high) & 0xFFFF) << 16) for low, high in ends)
        if last - first + 1 != frames:
            return (
                f"{frames} frames in the header, {last - first + 1} in TRIAL: it counts no further than 65535"
            )
    return ""


def _header_frames(path: Path) -> int | None:
    """Frames as the header itself counts them; the library corrects them by the parameters and the size of the file."""
    with path.open("rb") as file:
        head = file.read(BLOCK_BYTES)
        file.seek(BLOCK_BYTES * (head[0] - 1))
        if file.read(4)[3:] != LITTLE_ENDIAN:
            return None
    first, last = struct.unpack_from("<2H", head, 6)
    return int(last - first + 1)


def _value(parameters: Any, group: str, name: str) -> Any:
    try:
        return parameters[group][name]["value"]
    except KeyError:  # the library's mappings know no .get
        return []


def _text(text: str) -> str:
    """Bytes that are no UTF-8 are Western European letters (C3D itself knows ASCII only)."""
    return text.encode("utf-8", "surrogateescape").decode("latin-1") if not text.isascii() else text
