"""Finds the methods of a stage: every file of its folder that ends with a descriptor.

A new metric, filter or file format is one new file. Other packages add theirs through the
entry-point group ``imustride.<stage>``.
"""

from __future__ import annotations

import importlib
import pkgutil
from dataclasses import dataclass
from functools import cache
from importlib.metadata import EntryPoint, entry_points
from typing import TYPE_CHECKING, Any, Literal

from imustride.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Callable


@dataclass(frozen=True, slots=True)
class Format:
    """A file format: its name, the endings it answers to (lower case), and its reader.

    ``read(path, group, sensor)`` returns `loaders.Samples` in the units of the file;
    ``read_blocks(path, group, sensor, rows)`` gives them block by block, and ``read_rows(path, group, sensor, rows)``
    those of a slice, read alone, where the format allows it.
    """

    name: str
    suffixes: tuple[str, ...]
    read: Callable[..., Any]
    read_blocks: Callable[..., Any] | None = None
    read_rows: Callable[..., Any] | None = None


@dataclass(frozen=True, slots=True)
class Filter:
    """An orientation estimator; see `orientation` for the signature of `estimate`."""

    name: str
    source: str
    estimate: Callable[..., Any]


@dataclass(frozen=True, slots=True)
class Metric:
    """One column of ``pushes.csv``.

    `number` is the definition number: it changes whenever the meaning of the column changes, and
    values of different numbers are never compared. `symmetry` says how left and right are
    compared: by the symmetry index (always positive metrics), by the difference, or not at all. `places` are the
    parts of the body that must carry a sensor, without their side.
    """

    name: str
    unit: str
    number: int
    definition: str
    source: str
    symmetry: Literal["index", "difference", "none"]
    measure: Callable[..., Any]
    places: tuple[str, ...] = ("skate",)


@dataclass(frozen=True, slots=True)
class Check:
    """One test of a recorded sensor before or after a run.

    ``judge(view, limits)`` gets one `checking.view.SensorView` (`of` "sensor") or the whole `RecordingView`
    ("recording"), and returns `checking.view.Outcome`, or None where the question does not arise. `order`
    is the place in the table. `mended_by` says whether a failure can be mended in the session file afterwards,
    or takes a new recording.
    """

    name: str
    title: str
    order: int
    of: Literal["sensor", "recording"]
    question: str
    source: str
    mended_by: Literal["recording", "declaring"]
    judge: Callable[..., Any]


DESCRIPTORS = {"checking": "CHECK", "loaders": "FORMAT", "orientation": "FILTER", "metrics": "METRIC"}


@cache
def plugged_in(group: str) -> tuple[EntryPoint, ...]:
    """Return what other packages add to a group; looked up once, which takes some milliseconds."""
    return tuple(entry_points(group=group))


def methods(stage: str) -> dict[str, Any]:
    """Return the descriptors of a stage by name, in order of their file names.

    Raises
    ------
    SettingsError
        If two methods of the stage carry the same name.
    """
    package = importlib.import_module(f"imustride.{stage}")
    attribute = DESCRIPTORS[stage]
    found: dict[str, Any] = {}
    modules = [
        importlib.import_module(f"{package.__name__}.{info.name}")
        for info in pkgutil.iter_modules(package.__path__)
    ]
    descriptors = [getattr(module, attribute) for module in modules if hasattr(module, attribute)]
    descriptors += [entry.load() for entry in plugged_in(f"imustride.{stage}")]
    for descriptor in descriptors:
        if descriptor.name in found:
            message = f"two methods of stage {stage} are named {descriptor.name!r}; rename one of them"
            raise SettingsError(message)
        found[descriptor.name] = descriptor
    return found
