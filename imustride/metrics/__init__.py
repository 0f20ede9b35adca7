"""Measures: one file a metric, each the column of ``pushes.csv``; and left compared with right."""
