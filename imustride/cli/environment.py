"""``imustride environment``: what is installed, where the store lies, what is missing for which feature."""

from __future__ import annotations

import importlib
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from imustride import __version__
from imustride.cli.talk import Talk, columns, talk_options

CORE = (
    "ahrs", "click", "h5py", "jinja2", "matplotlib", "numpy", "pandas", "platformdirs", "pydantic", "scipy",
    "SQLAlchemy", "vqf",
)  # fmt: skip
PLUGGED = ("metrics", "loaders", "orientation", "checking")


@dataclass(frozen=True, slots=True)
class Feature:
    """What an extra is for, and the package that has to be there; `module` is tried out where a package is not all."""

    extra: str
    what: str
    package: str
    module: str = ""


FEATURES = (
    Feature("c3d", "read and write C3D files", "ezc3d"),
    Feature("cluster", "many sessions on several computers", "distributed"),
    Feature("pdf", "the page as PDF (analyse --pdf)", "weasyprint"),
    Feature("research", "Parquet files", "pyarrow"),
    Feature("server", "the season on a PostgreSQL server", "psycopg", "psycopg"),
)


@click.command(short_help="What is installed, and what is missing.", epilog="Example: imustride environment")
@talk_options
def environment(talk: Talk) -> None:
    """Say what is installed, what is missing for which feature, and where the store of the season lies.

    It tells nothing of the computer but its kind, and no path but the store's: it can be sent with a question.
    """
    import platform

    core = {name: installed(name) for name in CORE}
    features = [_feature(feature) for feature in FEATURES]
    told = {
        "imustride": __version__,
        "python": platform.python_version(),
        "system": f"{platform.system()} {platform.machine()}",
        "core": core,
        "features": features,
        "plug_ins": plug_ins(),
        "store": _store(),
    }
    talk.data(told)
    talk.lines(_lines(told))


def installed(package: str) -> str | None:
    """Return the version of a package, None where it is not installed."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(package)
    except PackageNotFoundError:
        return None


def _feature(feature: Feature) -> dict[str, Any]:
    found = installed(feature.package)
    missing = _missing(feature) if found else f"python -m pip install 'imustride[{feature.extra}]'"
    told = {"extra": feature.extra, "what": feature.what, "package": feature.package, "version": found}
    return {**told, "ready": not missing, "missing": missing}


def _missing(feature: Feature) -> str:
    """Return what an installed package still lacks of the system; empty where nothing."""
    from imustride.errors import SettingsError
    from imustride.report.pdf import check_ready

    try:
        if feature.extra == "pdf":
            check_ready()
        elif feature.module:
            importlib.import_module(feature.module)
    except SettingsError as error:
        return str(error).partition(": ")[2]
    except ImportError as error:
        return f"{feature.package} cannot be loaded: {str(error).splitlines()[0]}"
    return ""


def plug_ins() -> dict[str, list[str]]:
    """Return what other packages add, by stage: name of the method and of its package."""
    from imustride.registry import plugged_in

    found = {
        stage: [
            f"{entry.name} ({entry.dist.name if entry.dist else '?'})"
            for entry in plugged_in(f"imustride.{stage}")
        ]
        for stage in PLUGGED
    }
    return {stage: names for stage, names in found.items() if names}


def _store() -> dict[str, Any]:
    from imustride.season.place import VARIABLE, find_place, server_url, shown

    place = find_place()
    on_server = server_url(place) is not None
    return {
        "place": shown(place),
        "named_by": VARIABLE if os.environ.get(VARIABLE) else "default",
        "exists": None if on_server else Path(place).is_file(),
    }


def _lines(told: dict[str, Any]) -> list[str]:
    store = told["store"]
    there = {True: "", False: " (not there yet)", None: " (a server, not asked)"}[store["exists"]]
    by = f", named by {store['named_by']}" if store["named_by"] != "default" else ""
    core = [
        (name, found or "MISSING: python -m pip install --upgrade imustride")
        for name, found in told["core"].items()
    ]
    rows = [
        (
            one["extra"],
            one["what"],
            f"{one['package']} {one['version'] or ''}".strip(),
            one["missing"] or "ready",
        )
        for one in told["features"]
    ]
    plugged = [
        f"from other packages, {stage}: {', '.join(names)}" for stage, names in told["plug_ins"].items()
    ]
    return [
        f"imustride {told['imustride']}, Python {told['python']}, {told['system']}",
        f"store of the season: {store['place']}{there}{by}",
        "",
        *columns([("package", "version"), *core]),
        "",
        *columns([("extra", "for", "package", ""), *rows]),
        *plugged,
    ]
