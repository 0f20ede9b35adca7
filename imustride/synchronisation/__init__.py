"""Stage synchronise: one clock for all sensors of a run, from shocks that reach them all."""
