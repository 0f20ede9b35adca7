"""Stage align: segment_from_sensor. Up from gravity in the quiet stance, forward from the motion."""
