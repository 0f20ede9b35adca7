"""Where a result comes from: settings, and the fingerprint of everything that was read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from imustride.exporting.digests import sha256
from imustride.session_checks import split_group

if TYPE_CHECKING:
    from collections.abc import Mapping

    from imustride.session import Session


def provenance(session: Session, settings: Mapping[str, Any]) -> dict[str, Any]:
    """Return settings and the SHA-256 of each input by its name in the session folder.

    Parameters
    ----------
    session : Session
    settings : mapping
        Plain data.

    Notes
    -----
    A calibration may lie anywhere: only its own and its folder's name are kept, since the rest of the
    path belongs to one computer.
    """
    written = [split_group(file)[0] for run in session.runs for file in run.files.values()]
    written += [split_group(file)[0] for moved in session.movements for file in moved.files.values()]
    written += [run.gates for run in session.runs if run.gates is not None]
    names = dict.fromkeys(["session.toml", *written, *_beside(written, session)])
    inputs = {name: session.folder / name for name in names}
    used = {sensor.place: session.calibration_path(sensor) for sensor in session.sensors}
    return {
        "settings": settings,
        "inputs": {name: sha256(path) for name, path in inputs.items() if path.is_file()},
        "calibration": {
            place: {"file": f"{path.parent.name}/{path.name}", "sha256": sha256(path)}
            for place, path in used.items()
            if path is not None and path.is_file()
        },
    }


def _beside(written: list[str], session: Session) -> list[str]:
    """Return what says how recordings of Motion-BIDS are to be read: tables of channels, and JSON at every level."""
    stems = [name.removesuffix("_motion.tsv") for name in written if name.endswith("_motion.tsv")]
    folders = {folder for stem in stems for folder in (session.folder / stem).parents}
    inside = sorted(folder for folder in folders if folder.is_relative_to(session.folder))
    kinds = ("*_motion.json", "*_sessions.json")
    sidecars = [file for folder in inside for kind in kinds for file in sorted(folder.glob(kind))]
    found = [file.relative_to(session.folder).as_posix() for file in sidecars]
    return [*(f"{stem}_channels.tsv" for stem in stems), *found]
