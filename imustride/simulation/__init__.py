"""Simulated sprints with known truth, for demos, dry runs and tests; the analysis never imports it."""

from imustride.simulation.run import SimulatedRun, simulate_run
from imustride.simulation.session import simulate_session, write_session

__all__ = ["SimulatedRun", "simulate_run", "simulate_session", "write_session"]
