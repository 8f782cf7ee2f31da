"""What is known not to be found, as docs/threat-model.md says: the table under that heading."""

import itertools
import re
from typing import NamedTuple

from config.settings.base import BASE_DIR

HEADING = "## What is not found"


class Cell(NamedTuple):
    """One tampering by one hand: with or without the signing key, and a checkpoint kept outside."""

    way: str
    who: str
    key: str
    kept: str


def not_found() -> set[Cell]:
    """Every cell that the document lists."""
    text = (BASE_DIR / "docs" / "threat-model.md").read_text("utf-8")
    part = text.partition(HEADING)[2].partition("\n## ")[0]
    cells = set[Cell]()
    for line in part.splitlines():
        columns = [column.strip() for column in line.strip("|").split("|")]
        if len(columns) >= 4 and not set(columns[0]) <= set("- ") and columns[0] != "what is done":
            way, *lists = columns[:4]
            cells |= {Cell(way, *chosen) for chosen in itertools.product(*map(_listed, lists))}
    return cells


def _listed(column: str) -> list[str]:
    return re.split(r", | or ", column)
