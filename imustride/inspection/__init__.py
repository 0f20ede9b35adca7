"""Inspection: what is in a file or a session, and what is likely wrong with it.

Above the stages, beside the pipeline: it reads files as the pipeline does, and only reports.
"""

from imustride.inspection.bandwidth import estimate_bandwidth_hz
from imustride.inspection.findings import unit_errors
from imustride.inspection.inspecting import inspect
from imustride.inspection.report import Finding, SensorReport, render
from imustride.recording import Rest

__all__ = ["Finding", "Rest", "SensorReport", "estimate_bandwidth_hz", "inspect", "render", "unit_errors"]
