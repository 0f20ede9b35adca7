"""``imustride schema``: what a session file may hold, and what the tables of results hold, for programs."""

from __future__ import annotations

from typing import Any

import click

from imustride.cli.talk import Talk, talk_options


@click.command(
    short_help="JSON Schema of session.toml and of every table.", epilog="Example: imustride schema pushes"
)
@click.argument("name", required=False)
@talk_options
def schema(talk: Talk, name: str | None) -> None:
    """Print the JSON Schema (draft 2020-12) of NAME, or of all by their names.

    NAME is session (of session.toml), pushes, runs, symmetry, segments or figure (of every figure-*.csv).
    """
    found = schemas()
    if name is not None and name not in found:
        message = f"found {name!r}, wanted one of {', '.join(found)}"
        raise click.UsageError(message)
    talk.as_json |= not talk.quiet  # a schema has no other form
    talk.data(found if name is None else found[name])


def schemas() -> dict[str, dict[str, Any]]:
    """Return every schema by its name."""
    from imustride.exporting.schemas import session_schema, table_schemas
    from imustride.metrics.columns import push_columns
    from imustride.metrics.pushes import FLAGS
    from imustride.metrics.symmetry_verdict import VERDICTS
    from imustride.registry import methods

    words = {"flags": FLAGS, "phase": ("acceleration", "later"), "verdict": VERDICTS}
    return {"session": session_schema(), **table_schemas(push_columns(), methods("metrics"), words)}
