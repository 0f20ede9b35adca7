"""The season joined: results folders verified and added to the store, tables out of it, a person forgotten."""

from imustride.keeping.adding import add_results
from imustride.keeping.comparing import compare_season, named_family
from imustride.keeping.forgetting import forget
from imustride.keeping.person import export_athlete
from imustride.keeping.season_pages import write_season_pages
from imustride.keeping.tables import write_season_table

__all__ = [
    "add_results",
    "compare_season",
    "export_athlete",
    "forget",
    "named_family",
    "write_season_pages",
    "write_season_table",
]
