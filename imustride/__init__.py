"""imustride: from skate-mounted inertial sensors to every push, timed, measured, left against right."""

__version__ = "0.1.0"
