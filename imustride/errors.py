"""The errors a caller can meet.

ImustrideError
├── FileFormatError      a file is missing, unreadable or not what it was declared to be
├── CalibrationError     a calibration is missing, malformed or belongs to another device
├── SignalQualityError   the signals were read but cannot carry the wanted analysis
├── SettingsError        a setting or an option has an impossible value
└── StoreError           the store of the season cannot be used, or refuses what was asked of it

Every message says what is wrong, where, what was found, what was wanted and what to do.
"""


class ImustrideError(Exception):
    """Base of every error raised on purpose."""


class FileFormatError(ImustrideError):
    """A file is missing, unreadable or not what it was declared to be."""


class CalibrationError(ImustrideError):
    """A calibration is missing, malformed or belongs to another device."""


class SignalQualityError(ImustrideError):
    """The signals were read but cannot carry the wanted analysis."""


class SettingsError(ImustrideError):
    """A setting or an option has an impossible value."""


class StoreError(ImustrideError):
    """The store of the season cannot be used, or refuses what was asked of it."""


def shown(text: str, longest: int = 40) -> str:
    """Return other people's text as a message may show it: on one line, and not longer than need be."""
    return "".join(c if c.isprintable() else "?" for c in text[:longest])


def listed(problems: list[str], most: int = 20, longest: int = 500) -> str:
    """Problems one behind the other on one line, as `shown`; of very many or very long ones only the beginning."""
    told = [shown(text, longest) + "..." * (len(text) > longest) for text in problems[:most]]
    if len(problems) > most:
        told.append(f"and {len(problems) - most} more")
    return "; ".join(told)
