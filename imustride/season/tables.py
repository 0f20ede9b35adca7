"""The tables of the store, the same for SQLite and PostgreSQL.

A person is a code and perhaps a year of birth; there is no column for a name. The code stands in one table
only, everything else hangs on its number, so that forgetting is one deletion that cascades.

The measured values of a push are one record of 64-bit numbers (`pushes.record`), in the order that
`layouts.numbers` tells: new metrics are new layouts, never a new column. Chosen by measurement (450 000 pushes of
120 columns): as JSON the same store is five times as large, and a group table of one metric takes four times as long.
Dates are text, ISO 8601; yes and no are 1 and 0, since the strict tables of SQLite know neither.
"""

from __future__ import annotations

import sqlalchemy as sa

metadata = sa.MetaData()


def _table(name: str, *parts: sa.schema.SchemaItem) -> sa.Table:
    return sa.Table(name, metadata, *parts, sqlite_strict=True)


def _number() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, primary_key=True)


def _of(table: str, name: str) -> sa.Column[int]:
    key = sa.ForeignKey(f"{table}.id", ondelete="CASCADE")
    return sa.Column(name, sa.Integer, key, nullable=False, index=True)


def _text(name: str, *, null: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=null)


def _integer(name: str, *, null: bool = False) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, nullable=null)


versions = _table(
    "versions",
    sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
    _text("applied_at"),
    _text("product_version"),
)

athletes = _table(
    "athletes",
    _number(),
    sa.Column("code", sa.Text, nullable=False, unique=True),
    _integer("birth_year", null=True),
    sa.CheckConstraint("length(code) BETWEEN 1 AND 32", name="code_is_short"),
    sa.CheckConstraint("birth_year BETWEEN 1900 AND 2200", name="birth_year_is_one"),
)

consents = _table(
    "consents",
    _number(),
    _of("athletes", "athlete_id"),
    _text("given_by"),
    _text("given_on"),
    _text("scope"),  # words joined by a comma
    _text("expires_on", null=True),
    _integer("assent", null=True),
    _text("withdrawn_on", null=True),
    _text("recorded_at"),
    sa.CheckConstraint("given_by IN ('self', 'parent', 'guardian')", name="given_by_is_known"),
)

sessions = _table(
    "sessions",
    _number(),
    _of("athletes", "athlete_id"),
    _text("date"),
    _text("name"),
    _integer("revision"),
    _text("superseded_at", null=True),  # none: what counts; else history
    _text("added_at"),
    _text("content"),  # fingerprint of everything below the session
    _integer("runs"),  # how many there are, to notice a loss
    _text("protocol"),
    _text("surface"),
    _text("conditions"),  # JSON
    _text("sensors"),  # JSON
    _text("definitions"),  # JSON: definition numbers by metric
    _text("settings"),  # JSON
    _text("settings_digest"),
    _text("product_version"),
    sa.UniqueConstraint("athlete_id", "date", "name", "revision", name="one_revision"),
)
sa.Index(
    "one_current",
    sessions.c.athlete_id,
    sessions.c.date,
    sessions.c.name,
    unique=True,
    sqlite_where=sessions.c.superseded_at.is_(None),
    postgresql_where=sessions.c.superseded_at.is_(None),
)

inputs = _table(
    "inputs",
    _number(),
    _of("sessions", "session_id"),
    _text("kind"),  # session, log, gates or calibration
    _text("name"),
    sa.Column("sha256", sa.Text, nullable=False, index=True),
    _text("place", null=True),  # where the file was seen
    _integer("archived"),
)

# Folders and files this program wrote about athletes: results, exports, tables, pages.
outputs = _table("outputs", _number(), sa.Column("path", sa.Text, nullable=False, unique=True), _text("kind"))
output_athletes = _table(
    "output_athletes",
    _number(),
    _of("outputs", "output_id"),
    _of("athletes", "athlete_id"),
    sa.UniqueConstraint("output_id", "athlete_id", name="one_mention"),
)

# What the records of pushes hold: JSON of the names of columns, those of numbers and those of text.
layouts = _table(
    "layouts",
    _number(),
    _text("numbers"),
    _text("words"),
    sa.UniqueConstraint("numbers", "words", name="one_layout"),
)

runs = _table(
    "runs",
    _number(),
    _of("sessions", "session_id"),
    _integer("place"),
    _text("name"),
    _integer("pushes"),  # how many there are, to notice a loss
    _integer("usable"),
    _text("reason"),
    sa.Column("layout_id", sa.Integer, sa.ForeignKey("layouts.id"), nullable=False),
    _text("record"),  # JSON: the other columns of runs.csv
    sa.UniqueConstraint("session_id", "name", name="one_run"),
)

pushes = _table(
    "pushes",
    _number(),
    _of("runs", "run_id"),
    _text("side"),
    _integer("push"),
    _text("phase"),
    _text("flags"),
    _text("words", null=True),  # JSON: the further columns of text, in the order of the layout
    sa.Column("record", sa.LargeBinary, nullable=False),
    sa.CheckConstraint("side IN ('left', 'right')", name="side_is_known"),
)

symmetry = _table(
    "symmetry",
    _number(),
    _of("sessions", "session_id"),
    _text("phase"),
    _text("metric"),
    _text("record"),  # JSON: the other columns of symmetry.csv
)
