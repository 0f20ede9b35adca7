"""Export: results to files, in open formats, whole or not at all."""

from imustride.exporting.digests import sha256
from imustride.exporting.results_folder import check_target, verify, write_results

__all__ = ["check_target", "sha256", "verify", "write_results"]
