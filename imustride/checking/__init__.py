"""Checking: whether every sensor is the right one, in its place, tight, calibrated, in range and on one clock.

One file a check, each ending with a ``CHECK``. What a check sees is in `view`, all limits are in `limits`.
"""
