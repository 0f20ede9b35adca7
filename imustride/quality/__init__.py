"""Stage judge: is a run usable, and if not, why. Thresholds are physical and lie far outside what good runs show."""
