"""The option that says in which language a page speaks."""

from __future__ import annotations

import click


def check_language(language: str) -> None:
    """Refuse a language that there are no texts of.

    Raises
    ------
    click.UsageError
        With those that there are.
    """
    from imustride.report.catalogue import languages

    if language not in languages():
        message = f"--language: found {language!r}, wanted one of {', '.join(languages())}"
        raise click.UsageError(message)
