"""From seconds to samples."""

from __future__ import annotations

from math import floor

# True rates lie some parts in ten thousand beside the rate a sensor is set to. A span of a whole or a half number of
# samples at that rate must not change its length for it: 8 ms at 249.99 Hz are 2 samples, not 1.
SLACK = 0.02


def sample_count(span_s: float, rate_hz: float) -> int:
    """Return the whole number of samples nearest to a span; a half, or what lies just below it, counts up.

    Examples
    --------
    >>> sample_count(0.008, 249.99), sample_count(0.03, 249.99), sample_count(0.03, 250.01)
    (2, 8, 8)
    """
    return floor(span_s * rate_hz + 0.5 + SLACK)


def one_in(rate_hz: float, wanted_hz: float) -> int:
    """Return how many samples make one of a lower rate, or of one a little above it; at least 1.

    Examples
    --------
    >>> one_in(499.99, 250.0), one_in(500.01, 250.0), one_in(400.0, 250.0)
    (2, 2, 1)
    """
    return max(floor(rate_hz / wanted_hz + SLACK), 1)
