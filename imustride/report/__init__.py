"""Report: pages and pictures, drawn from the tables of a result."""

from imustride.report.summary import summary_page

__all__ = ["summary_page"]
