"""Stage cut: where a run lies in a recording. Quiet stances, the motion between them, shocks."""
