"""Published forms of a left-right index; the product uses one."""

from __future__ import annotations


def symmetry_index(left: float, right: float) -> float:
    """Symmetry index, positive where right is larger [%].

    Parameters
    ----------
    left, right : float
        Values of a metric that is always positive, same unit.

    Returns
    -------
    float
        ``100 (right - left) / (0.5 (right + left))``; NaN where either value is not positive, since
        the index runs to artificial extremes near zero.

    Notes
    -----
    The index refers to neither foot, so that it has the same size whichever foot is larger (Parkinson et al.
    2021, J. Sports Sci. Med. 20:594-617: true of few index forms).

    References
    ----------
    Robinson R. O., Herzog W., Nigg B. M. (1987) Use of force platform variables to quantify the effects of
    chiropractic manipulation on gait symmetry. J. Manipulative Physiol. Ther. 10:172-176.

    Examples
    --------
    >>> round(symmetry_index(90.0, 100.0), 4)
    10.5263
    """
    if not (left > 0.0 and right > 0.0):
        return float("nan")
    return 100.0 * (right - left) / (0.5 * (right + left))
