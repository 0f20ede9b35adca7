"""Many sessions at once: one function put to many jobs, on this machine or on a cluster of others."""

from imustride.many.here import on_this_machine
from imustride.many.lost import Lost

__all__ = ["Lost", "on_this_machine"]
