"""Readers of the published data that the metrology checks share."""

from __future__ import annotations

import csv
from pathlib import Path

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a CSV file in the data folder."""
    with (DATA / name).open(newline="") as file:
        return list(csv.DictReader(file))


def column(name: str, key: str) -> list[float]:
    """Return one numeric column of a CSV file, empty cells left out."""
    return [float(row[key]) for row in rows(name) if row[key] != ""]


def norris() -> tuple[list[float], list[float]]:
    """Return x and y of NIST StRD Norris, 36 points (y is the file's first column)."""
    pairs = []
    for text in (DATA / "Norris.dat").read_text().splitlines():
        words = text.split()
        try:
            pairs.append((float(words[1]), float(words[0])))
        except (IndexError, ValueError):
            continue
    points = pairs[-36:]
    return [x for x, _ in points], [y for _, y in points]
