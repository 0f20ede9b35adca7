"""Which model the positions carry, and its fit: free positions, the faces of the housing, or a mixture of both."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.coverage import Coverage, coverage
from imustride.calibration.faces_fit import fit_faces
from imustride.calibration.norm_fit import PARAMETERS, NormFit, fit_norm, triangular
from imustride.calibration.outliers import OutlierSettings, without_outliers
from imustride.calibration.triad import NORMAL, Triad, triad
from imustride.recording import own

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from imustride.calibration.faces_fit import FacesFit

    Floats = NDArray[np.float64]
    Model = Callable[[Floats], tuple[Floats, Floats]]

USUAL_WEIGHT = 6
FREE = "positions set by hand, length of gravity"
FACES = "six faces of the housing"
FEW = "six positions set by hand, length of gravity"


@dataclass(frozen=True, slots=True)
class FitSettings:
    """Limits of a fit, as parts of gravity or in radians. Common practice, no source."""

    # What two visits to one position differ by (0.5 mg), beside what shows within the position.
    repeat_ratio: float = 5e-4
    # Parameters less certain than this are left open by the positions: bias, scale, skew.
    open_limits: tuple[float, float, float] = (5e-3, 5e-3, 9e-3)
    # Faces that tilt against each other by more were not those of one housing on one table.
    faces_tilt_rad: float = 0.026
    # What sensing axes are out of square, where the positions cannot tell: data sheets give 1 to 2 %.
    usual_skew_rad: float = 0.0175
    # From any of the six faces the nearest position must be no farther.
    farthest_deg: float = 65.0
    fewest_directions: int = 6
    outliers: OutlierSettings = field(default_factory=OutlierSettings)


@dataclass(frozen=True, eq=False, slots=True)
class Fit:
    """An accelerometer's parameters and what they rest on.

    Parameters
    ----------
    method : str
    triad : Triad
    residual_m_s2 : ndarray, shape (n,)
        Length of the corrected acceleration less gravity, every position.
    used : ndarray of bool, shape (n,)
    up : ndarray, shape (n, 3)
        Where gravity points in each position, corrected, unit vectors.
    coverage : Coverage
        Of the positions that were used.
    freedom : int
        Positions beyond those the parameters need.
    factor : float or None
        Square of the residuals over what was expected of them; None where it was not used.
    notes : tuple of str
    """

    method: str
    triad: Triad
    residual_m_s2: Floats
    used: NDArray[np.bool_]
    up: Floats
    coverage: Coverage
    freedom: int
    factor: float | None
    notes: tuple[str, ...]

    def __post_init__(self) -> None:
        own(self.residual_m_s2, self.used, self.up)

    @property
    def rms_m_s2(self) -> float:
        """Root mean square of the residuals of the positions used [m/s^2]."""
        return float(np.sqrt(np.mean(self.residual_m_s2[self.used] ** 2)))

    @property
    def uncertainty(self) -> float:
        """Largest standard error of scale and skew [ratio, rad], for comparing fits of one recording.

        Few positions may fit well by chance, so what is usual counts like `USUAL_WEIGHT` positions.
        """
        scale_sd = self.triad.scale_sd / self.triad.scale
        largest = float(max(scale_sd.max(), np.radians(self.triad.skew_sd_deg.max())))
        if self.factor is None:
            return largest
        usual = (self.freedom * self.factor + USUAL_WEIGHT) / (self.freedom + USUAL_WEIGHT)
        return largest * float(np.sqrt(usual / self.factor))


@dataclass(frozen=True, eq=False, slots=True)
class Scaled:
    """Positions near the unit sphere, and the way back: ``raw = centre + radius * x``.

    `variance` (shape (n,)) is that of each length, by what shows within the position and between visits.
    """

    x: Floats
    variance: Floats
    centre: Floats
    radius: float
    gravity_m_s2: float
    from_counts: bool

    def model(self, bias: Floats, matrix: Floats) -> tuple[Floats, Floats]:
        """Return bias and matrix for raw values."""
        return self.centre + self.radius * bias, matrix * (self.gravity_m_s2 / self.radius)

    def triad(self, parameters: Floats, covariance: Floats, model: Model, interval: float) -> Triad:
        """Return the triad of a fit for raw values."""
        return triad(
            parameters,
            covariance,
            lambda p: self.model(*model(p)),
            interval,
            from_counts=self.from_counts,
        )


def scaled(
    acceleration: Floats,
    spread: Floats,
    centre: Floats,
    radius: float,
    gravity_m_s2: float,
    settings: FitSettings,
    *,
    from_counts: bool,
) -> Scaled:
    """Bring positions near the unit sphere; `spread` is the covariance of each mean, shape (n, 3, 3)."""
    x = (acceleration - centre) / radius
    up = x / np.linalg.norm(x, axis=1, keepdims=True)
    within = np.einsum("ni,nij,nj->n", up, spread, up) / radius**2
    return Scaled(x, settings.repeat_ratio**2 + within, centre, radius, gravity_m_s2, from_counts)


def fit_positions(data: Scaled, settings: FitSettings) -> Fit | str:
    """Fit the fullest model the positions carry; say in words what is missing where they carry none."""
    up = data.x / np.linalg.norm(data.x, axis=1, keepdims=True)
    covered = coverage(up)
    missing = covered.missing(settings.farthest_deg)
    if covered.directions < settings.fewest_directions:
        return (
            f"found gravity in {covered.directions} direction{'' if covered.directions == 1 else 's'}, wanted at "
            f"least {settings.fewest_directions}: no position with {', '.join(missing) or 'a new direction'}"
        )
    if missing:
        return f"no position with {', '.join(missing)}"
    free = _free(data, settings)
    if isinstance(free, Fit):
        return free
    faces = fit_faces(data.x, up)
    if faces is not None and faces.tilt_rad <= settings.faces_tilt_rad:
        return _faces(data, faces)
    few = _few(data, settings)
    return few if isinstance(few, Fit) else free


def _free(data: Scaled, settings: FitSettings) -> Fit | str:
    """Nine parameters, from ten positions on."""
    more = (
        f"found {len(data.x)} positions, wanted the six faces, level, or at least {PARAMETERS + 1} positions"
    )
    if len(data.x) <= PARAMETERS:
        return more
    found = without_outliers(data.x, data.variance, settings.outliers)
    if found is None:
        return more
    fit, used, freedom = found
    factor = float(np.sum(fit.residuals[used] ** 2 / data.variance[used])) / freedom
    covariance = fit.cofactors * factor
    wanted = _open(covariance, settings) or _open(fit.cofactors, settings)
    if wanted:
        return wanted
    return _fit(FREE, data, fit, covariance, used, freedom, factor, ())


def _open(covariance: Floats, settings: FitSettings) -> str:
    """Say which parameters the positions leave open."""
    sd = np.sqrt(np.diag(covariance))
    bias, scale, skew = settings.open_limits
    axes = [axis for i, axis in enumerate("xyz") if sd[i] > bias or sd[3 + i] > scale]
    pairs = [pair for i, pair in enumerate(("xy", "xz", "yz")) if sd[6 + i] > skew]
    if axes:
        return f"bias and scale of {', '.join(axes)} stay open; wanted positions with {', '.join(axes)} up and down"
    if pairs:
        return (
            f"the skew of {', '.join(pairs)} stays open; wanted positions on an edge, "
            f"{' and '.join(f'{pair[0]} and {pair[1]}' for pair in pairs)} both half up"
        )
    return ""


def _few(data: Scaled, settings: FitSettings) -> Fit | str:
    """Six parameters, the skew held near zero by what is usual."""
    fit = fit_norm(data.x, data.variance, settings.usual_skew_rad)
    if fit is None:
        return "positions that leave bias or scale open"
    freedom = max(len(data.x) - 6, 0)
    factor = max(1.0, float(np.sum(fit.residuals**2 / data.variance)) / max(freedom, 1))
    limits = (*settings.open_limits[:2], np.inf)
    sd = np.sqrt(np.diag(fit.cofactors * factor)).reshape(3, 3).max(axis=1)
    if (sd > limits).any():
        return "positions that leave bias or scale open"
    note = (
        "the skew of the axes was not measured: it is held near zero by what data sheets allow (1 degree); "
        "record four or more slanted positions beside the six"
    )
    return _fit(
        FEW, data, fit, fit.cofactors * factor, np.ones(len(data.x), dtype=bool), freedom, None, (note,)
    )


def _fit(
    method: str,
    data: Scaled,
    fit: NormFit,
    covariance: Floats,
    used: NDArray[np.bool_],
    freedom: int,
    factor: float | None,
    notes: tuple[str, ...],
) -> Fit:
    from scipy.special import stdtrit

    interval = float(stdtrit(freedom, 0.975)) if method == FREE else NORMAL
    found = data.triad(fit.parameters, covariance, lambda p: (p[:3], triangular(p)), interval)
    return _judged(method, data, found, used, freedom, factor, notes)


def _faces(data: Scaled, faces: FacesFit) -> Fit:
    """Twelve parameters; the tilt of the faces is their error, of second order along the own axis."""
    used = faces.face >= 0
    own_variance = float(np.mean(data.variance[used])) + faces.tilt_rad**4
    response_sd = np.where(
        np.eye(3, dtype=bool), np.sqrt(own_variance / 2 + faces.tilt_rad**4), faces.tilt_rad / np.sqrt(2)
    )
    sd = np.concatenate((np.full(3, np.sqrt(own_variance / 2)), response_sd.ravel()))
    found = data.triad(
        np.concatenate((faces.bias, faces.response.ravel())),
        np.diag(sd**2),
        lambda p: (p[:3], np.asarray(np.linalg.inv(p[3:].reshape(3, 3)))),
        NORMAL,
    )
    note = f"the faces tilt against each other by {np.degrees(faces.tilt_rad):.2f} deg, which is the error of the skew"
    return _judged(FACES, data, found, used, 6, None, (note,))


def _judged(
    method: str,
    data: Scaled,
    found: Triad,
    used: NDArray[np.bool_],
    freedom: int,
    factor: float | None,
    notes: tuple[str, ...],
) -> Fit:
    raw = data.centre + data.radius * data.x
    corrected = (raw - found.correction.bias) @ found.correction.matrix.T
    length = np.linalg.norm(corrected, axis=1)
    up = corrected / length[:, np.newaxis]
    residual = length - data.gravity_m_s2
    return Fit(method, found, residual, used, up, coverage(up[used]), freedom, factor, notes)
