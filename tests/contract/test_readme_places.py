"""The README's table of columns by sensors says what the metrics say of themselves."""

import re
from pathlib import Path

from imustride.registry import methods

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
ROW = re.compile(r"^\| ([a-z, ]+?)(?: \(.*?\))? \| (.*) \|$")


def listed():
    """Columns of each row of the table below its heading, by the places named there."""
    table = README.split("| sensors at (beside the skates) | columns of `pushes.csv` |", 1)[1].split(
        "\n\n", 1
    )[0]
    rows = [match for line in table.splitlines() if (match := ROW.match(line))]
    return {
        column: frozenset(row[1].split(", ")) for row in rows for column in re.findall(r"`(\w+)`", row[2])
    }


def test_every_column_of_the_body_stands_beside_the_places_it_needs():
    needed = {name: frozenset(metric.places) for name, metric in methods("metrics").items()}
    of_body = {name: places for name, places in needed.items() if places != {"skate"}}
    assert len(of_body) > 20
    assert listed() == of_body
