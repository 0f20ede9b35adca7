"""Command line: it parses, calls the pipeline and prints; errors become one line here and nowhere else."""

from imustride.cli.boundary import main

__all__ = ["main"]
