"""imustride: from skate-mounted inertial sensors to every push, timed, measured, left against right.

What is named in `__all__` is loaded when it is asked for; `recordings/tour.md` goes through it.
"""

from importlib import import_module as _import_module

__version__ = "0.1.0"

# Where each name lives. Imports by name, not by statement: every module may import this one for its version.
_HOME = {
    "load": "interface",
    "analyse": "interface",
    "save": "interface",
    "Settings": "settings",
    "Sensor": "session",
    "SensorLog": "recording",
    "Gates": "kinematics",
    "analyse_logs": "pipeline",
    "regularise": "loaders.sampling",
    "cut": "cutting.stance",
    "synchronise": "synchronisation.shocks",
    "filters": "interface",
    "Rest": "orientation.stance",
    "align": "alignment.blade",
    "move": "runs",
    "find_contacts": "segmentation.contact",
    "end_of_pushing": "segmentation.pushing",
    "track": "trajectory.track",
    "MetricSymmetry": "metrics.symmetry",
    "symmetry_table": "metrics.symmetry",
}

__all__ = [*_HOME, "__version__"]  # noqa: PLE0604 - the names above, in the order of the work


def __getattr__(name: str) -> object:
    if name not in _HOME:
        message = f"module 'imustride' has no attribute {name!r}"
        raise AttributeError(message)
    found = getattr(_import_module(f"imustride.{_HOME[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
