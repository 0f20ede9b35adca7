"""Where the smallest differences of a page come from, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from imustride.report.catalogue import Catalogue


def convention(symmetry: pd.DataFrame, say: Catalogue) -> str:
    """Say where the smallest differences that count come from: a convention, or what the season knows of the skater.

    Parameters
    ----------
    symmetry : DataFrame
        Rows of ``symmetry.csv``.
    say : Catalogue
    """
    named = dict.fromkeys(symmetry["smallest_difference_source"].dropna().astype(str))
    own = [say.reason(source) for source in named if source.startswith("own typical error")]
    usual = say("reading.convention")
    if not own:
        return usual
    return say("reading.convention_own", source=say("list.semicolon").join(own), convention=usual)
