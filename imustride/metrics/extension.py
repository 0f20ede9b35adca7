"""Where in a contact the push starts: the leg begins to extend, or, with skates only, the blade changes its edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.edge_change import edge_changes

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView

    Floats = NDArray[np.float64]

# Share of the extension that may be sway about the deepest posture (common practice, no source).
STARTED_SHARE = 0.1
# Standard deviation of the Gauss window that takes vibration and wobble out of an angle: half gone at 37 Hz.
SMOOTH_SD_S = 0.005


def smooth(course: Floats, time_s: Floats) -> Floats:
    """Smooth a course of even times, shape (m,); NaN near gaps."""
    from scipy.ndimage import gaussian_filter1d

    known = np.isfinite(course)
    if not known.any():
        return course
    held = np.interp(time_s, time_s[known], course[known])
    out = gaussian_filter1d(held, SMOOTH_SD_S / (time_s[1] - time_s[0]), mode="nearest")
    return np.where(known, out, np.nan)


def glide_before_push(view: PushView) -> tuple[Floats, list[str]]:
    """Return how long each contact glides before its push starts [s], shape (k,), and what told: ``knee``, ``edge`` or nothing.

    Where the knee is worn nothing stands in for it: two criteria in one column would be compared with each other. The leg
    extends from the last instant at which the knee is bent within a tenth of its fall from the deepest posture
    to blade-off (Allinger and van den Bogert 1997 begin the push-off with leg extension; the tenth is ours).
    """
    glide_s = edge_changes(view).time_s - view.on_s
    told = ["edge" if found else "" for found in np.isfinite(glide_s)]
    limbs = view.limbs
    if limbs is None:
        return glide_s, told
    knee = limbs.flexion_deg("thigh", "shank")
    if np.isfinite(knee).any():
        glide_s, told = view.nothing, [""] * len(glide_s)
    for k, span in enumerate(limbs.spans(limbs.on_s, limbs.off_s)):
        piece = knee[span]
        if len(piece) < 2 or not np.isfinite(piece).all():
            continue
        bent = piece >= piece.max() - STARTED_SHARE * (piece.max() - piece[-1])
        glide_s[k] = limbs.time_s[span.start + int(np.flatnonzero(bent)[-1])] - limbs.on_s[k]
        told[k] = "knee"
    return glide_s, told
