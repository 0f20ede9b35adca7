"""Stage segment: every contact of a blade with the ice, from touch-down to lift-off."""
