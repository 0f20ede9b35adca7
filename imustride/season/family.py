"""Which metrics of a season are judged together: named beforehand, six at most, or the usual family."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from imustride.errors import SettingsError
from imustride.season.change import MOST_METRICS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from imustride.registry import Metric

Phase = Literal["acceleration", "later", "all"]
Kind = Literal["pushes", "asymmetry", "runs"]

ASYMMETRY: Final = "asymmetry:"


@dataclass(frozen=True, slots=True)
class SeasonSettings:
    """Settings of a comparison over a season.

    Parameters
    ----------
    family : tuple of str
        Metrics that are judged where nobody names others: the time that counts, the rhythm, the two columns of
        a push that the sensors see best, and left against right of these (common practice, no source).
    phase : {"acceleration", "later", "all"}
        Pushes that are looked at: the first six differ from the later ones, with which they share a third of their
        variance at most (Pojskic et al. 2024, doi 10.3390/app14125168).
    most_ahead : int
        How many further sessions are tried to say how many would tell.
    """

    family: tuple[str, ...] = (
        "gate_time_s",
        "stride_rate_hz",
        "contact_time_s",
        "push_off_angular_velocity_deg_s",
        "asymmetry:contact_time_s",
        "asymmetry:push_off_angular_velocity_deg_s",
    )
    phase: Phase = "later"
    most_ahead: int = 8


@dataclass(frozen=True, slots=True)
class Followed:
    """What is followed over the season.

    Parameters
    ----------
    name : str
        As it is named in a command.
    metric : str
        Column of ``pushes.csv`` or ``runs.csv``.
    kind : {"pushes", "asymmetry", "runs"}
        The mean of both feet, right against left, or a column of ``runs.csv``, which belongs to the whole run.
    unit : str
        Percent where right and left are compared by the symmetry index.
    phase : {"acceleration", "later", "all"}
    """

    name: str
    metric: str
    kind: Kind
    unit: str
    phase: Phase

    @property
    def by_index(self) -> bool:
        """Whether the value is a symmetry index."""
        return self.kind == "asymmetry" and self.unit == "%"


def follow(
    names: Sequence[str], phase: Phase, metrics: Mapping[str, Metric], run_units: Mapping[str, str]
) -> tuple[Followed, ...]:
    """Return what the names stand for.

    Parameters
    ----------
    names : sequence of str
        A column of ``pushes.csv``, with ``asymmetry:`` before it for right against left, or one of ``runs.csv``.
    phase : {"acceleration", "later", "all"}
    metrics : mapping of str to Metric
        Columns of ``pushes.csv``.
    run_units : mapping of str to str
        Numbers of ``runs.csv`` and their units.

    Raises
    ------
    SettingsError
        If a name is unknown or comes twice, cannot be compared left and right, or there are more than six.
    """
    if not 1 <= len(names) <= MOST_METRICS:
        message = (
            f"--metric: found {len(names)}; wanted 1 to {MOST_METRICS}, chosen before looking: the more are looked at, the "
            "more change by chance"
        )
        raise SettingsError(message)
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        message = f"--metric: found {twice[0]} twice; name each once"
        raise SettingsError(message)
    return tuple(_one(name, phase, metrics, run_units) for name in names)


def _one(name: str, phase: Phase, metrics: Mapping[str, Metric], run_units: Mapping[str, str]) -> Followed:
    metric = name.removeprefix(ASYMMETRY)
    if metric in metrics and metric != name:
        how = metrics[metric].symmetry
        if how == "none":
            message = f"--metric: {metric} is not compared left and right; name it without {ASYMMETRY}"
            raise SettingsError(message)
        return Followed(name, metric, "asymmetry", "%" if how == "index" else metrics[metric].unit, phase)
    # A column of both files is that of the pushes, whose definition has a number.
    if metric in metrics:
        return Followed(name, metric, "pushes", metrics[metric].unit, phase)
    if name in run_units:
        return Followed(name, name, "runs", run_units[name], "all")
    message = (
        f"--metric: found {name!r}; wanted a column of pushes.csv (`imustride metrics` lists them), the same after "
        f"{ASYMMETRY}, or a number of runs.csv: {', '.join(run_units)}"
    )
    raise SettingsError(message)
