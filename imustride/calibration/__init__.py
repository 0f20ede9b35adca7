"""Calibration: what a sensor's numbers mean, from a file made on the bench."""

from imustride.calibration.apply import apply
from imustride.calibration.file import Calibration, Correction, read_calibration
from imustride.calibration.gravity import local_gravity_m_s2

__all__ = ["Calibration", "Correction", "apply", "local_gravity_m_s2", "read_calibration"]
