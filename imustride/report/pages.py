"""What every page is filled by, and how an earlier page of this program is told from another file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment

# What a name from a file may hold and a page must not obey: control characters, marks that turn the direction of text.
UNSEEN = {code: chr(0x2400 + code) for code in range(0x20) if chr(code) not in "\n\t"}
UNSEEN |= {code: f"[U+{code:04X}]" for code in (*range(0x7F, 0xA0), 0x061C, 0x200E, 0x200F)}
UNSEEN |= {code: f"[U+{code:04X}]" for code in (*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0xFEFF)}
# The mark of a page stands in its first lines.
HEAD_BYTES = 2000


def page_environment() -> Environment:
    """Return what fills the templates: every value is text, and every character of it is seen."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=visible,
    )


def visible(value: Any) -> Any:
    """Return a text with every character that is not seen, but acts, made visible."""
    from markupsafe import Markup

    if isinstance(value, Markup):
        return Markup(str(value).translate(UNSEEN))  # noqa: S704 - as safe as it was
    return value.translate(UNSEEN) if isinstance(value, str) else value


def holds(path: Path, mark: str) -> bool:
    """Whether a path is a file with a mark in its first lines: an earlier one of ours.

    Raises
    ------
    OSError
        If it cannot be read.
    """
    if path.is_symlink() or not path.is_file():
        return False
    with path.open("rb") as file:
        return mark.encode() in file.read(HEAD_BYTES)
