"""The files for readers in a results folder: the page, and on request its PDF and its pictures one by one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from imustride.report.amounts import Amounts
from imustride.report.catalogue import DEFAULT_LANGUAGE, catalogue
from imustride.report.pdf import pdf_page
from imustride.report.summary import summary_page

if TYPE_CHECKING:
    import pandas as pd

    from imustride.report.amounts import System
    from imustride.results import RunResult, SessionResult

PAGE, PDF = "summary.html", "summary.pdf"


@dataclass(frozen=True, slots=True)
class Page:
    """How the page is written, and what beside it.

    Parameters
    ----------
    language : str
        One of `imustride.report.catalogue.languages`.
    system : "metric" or "imperial"
        Units of lengths and speeds, in the pictures too; and the paper of the PDF: A4 or Letter.
    pdf, figures : bool
        Whether the PDF, and every picture as SVG, PNG and CSV, are wanted.
    """

    language: str = DEFAULT_LANGUAGE
    system: System = "metric"
    pdf: bool = False
    figures: bool = False


def page_files(result: SessionResult, page: Page) -> dict[str, str | bytes | pd.DataFrame]:
    """Return the contents of the files by name; tables of pictures as they are drawn.

    Parameters
    ----------
    result : SessionResult
    page : Page

    Raises
    ------
    SettingsError
        If a PDF is wanted and what renders it is missing.
    """
    text = summary_page(result, page.language, page.system)
    files: dict[str, str | bytes | pd.DataFrame] = {PAGE: text}
    if page.pdf:
        files[PDF] = pdf_page(text, "Letter" if page.system == "imperial" else "A4")
    if page.figures:
        files |= figure_files(result, Amounts(catalogue(page.language), page.system))
    return files


def figure_files(result: SessionResult, amounts: Amounts) -> dict[str, bytes | pd.DataFrame]:
    """Return every picture there is something to draw of: of the session, then of each run by its place in ``runs.csv``.

    Parameters
    ----------
    result : SessionResult
    amounts : Amounts

    Returns
    -------
    dict
        ``figure-<picture>.svg``, ``.png`` and ``.csv``; of single runs ``figure-<picture>-run<number>``. Tables stay
        in the units their columns name, whatever the pictures are drawn in.
    """
    files = _drawn(result, None, "", amounts)
    for number, run in enumerate(result.runs, 1):
        files |= _drawn(result, run, f"-run{number}", amounts)
    return files


def _drawn(
    result: SessionResult, run: RunResult | None, of: str, amounts: Amounts
) -> dict[str, bytes | pd.DataFrame]:
    from imustride.report.drawing import saved
    from imustride.report.pictures import PICTURES

    files: dict[str, bytes | pd.DataFrame] = {}
    for picture in PICTURES:
        table = picture.table(result, run)
        if not len(table):
            continue
        name = f"figure-{picture.name}{of}"
        drawn = picture.draw(result, run, amounts.say, amounts.system)
        files |= {
            f"{name}.svg": saved(drawn, name, "svg"),
            f"{name}.png": saved(drawn, name, "png"),
            f"{name}.csv": table,
        }
    return files
