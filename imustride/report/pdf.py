"""The page as a tagged PDF, with the words of every picture for those who cannot see it.

Tagged means: headings, lists, tables and pictures are marked as such, the language and the title are named. No standard
of accessible documents is claimed in the file: that would take a validator.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import logging
import re
from typing import TYPE_CHECKING, Any, Literal

from imustride.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import ModuleType

Paper = Literal["A4", "Letter"]
# What the renderer does not know of the page's own print style: the shorter texts of paper, and pictures side by side.
STYLE = """
@page {{ size: {paper}; }}
.paper {{ display: inline; }}
section.paper {{ display: block; }}
figure {{ margin: 0; }}
p.paper {{ display: block; }}
.pictures {{ display: block; }}
.pictures ~ section {{ clear: both; }}
.pictures > section {{ float: left; clear: left; width: 49%; }}
.pictures > section:nth-child(2) {{ float: right; clear: none; }}
"""
_PICTURE = re.compile(r'(<figure role="img" aria-label="([^"]*)">\s*<svg [^>]*?) aria-hidden="true"([^>]*>)')


def check_ready() -> None:
    """Refuse before any work what could not be written after it.

    Raises
    ------
    SettingsError
        If the renderer or a library of the system that it needs is missing.
    """
    _renderer()


def pdf_page(page: str, paper: Paper) -> bytes:
    """Return a page as PDF; equal pages give equal bytes on one machine (the fonts are its own).

    Parameters
    ----------
    page : str
        As `imustride.report.summary_page` writes it.
    paper : "A4" or "Letter"

    Raises
    ------
    SettingsError
        If the renderer or a library of the system that it needs is missing.
    """
    renderer = _renderer()
    styled = page.replace("</style>", STYLE.format(paper=paper) + "</style>", 1)
    told = _PICTURE.sub(r"\1\3<title>\2</title>", styled)
    document = renderer.HTML(string=told, url_fetcher=_nothing)
    with _silent():
        pdf: bytes = document.write_pdf(
            pdf_tags=True, pdf_version="1.7", pdf_identifier=hashlib.sha256(told.encode()).digest()[:16]
        )
    return pdf


def _renderer() -> ModuleType:
    try:
        # It says what it lacks in many lines on the standard output, then raises.
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            import weasyprint
    except ImportError:
        message = (
            "--pdf: found no weasyprint, which renders the page; install it with "
            "`python -m pip install 'imustride[pdf]'`, or leave --pdf away and print the page from a browser"
        )
        raise SettingsError(message) from None
    except OSError as error:
        message = (
            f"--pdf: weasyprint lacks a library of the system ({str(error).splitlines()[0][:80]}); install pango "
            "(Debian: libpango-1.0-0, libpangoft2-1.0-0), or leave --pdf away and print the page from a browser"
        )
        raise SettingsError(message) from None
    return weasyprint  # type: ignore[no-any-return]


def _nothing(url: str, *_: Any, **__: Any) -> dict[str, Any]:
    """Fetch nothing: a page holds all it needs."""
    message = f"a page fetches nothing, but asked for {url!r}"
    raise ValueError(message)


@contextlib.contextmanager
def _silent() -> Iterator[None]:
    """Keep the renderer's remarks on style properties that only browsers know to itself."""
    loggers = [logging.getLogger(name) for name in ("weasyprint", "fontTools")]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)
