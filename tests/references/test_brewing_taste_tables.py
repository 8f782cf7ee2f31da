"""Critical numbers of difference tests against whole printed tables, misprints named.

The tables' rows stand in data/ as printed; sources in data/SOURCES_brewing.md.
"""

import csv
from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from recipes.brewing.taste import Method, critical_count, p_value

DATA = Path(__file__).parent / "data"
Cell = tuple[int, str, int | None]


def printed(name: str) -> Iterator[Cell]:
    """Every entry: assessments, risk, needed; None where the table has a dash."""
    with (DATA / name).open(newline="") as file:
        for row in csv.DictReader(file):
            n = int(row.pop("n"))
            for risk, needed in row.items():
                yield n, risk, int(needed) if needed else None


def unlike(method: Method, name: str) -> list[Cell]:
    """The entries that the exact binomial does not give."""
    return [
        (n, risk, needed)
        for n, risk, needed in printed(name)
        if critical_count(method, n, Decimal(risk)) != needed
    ]


def test_triangle_of_fao() -> None:
    # FAO V7180E appendix A: n = 3 to 36, 42 to 96; all 176 entries.
    assert len(list(printed("fao_v7180e_triangle.csv"))) == 176
    assert unlike(Method.TRIANGLE, "fao_v7180e_triangle.csv") == []


def test_triangle_of_the_guidelines() -> None:
    # Guidelines for Sensory Analysis, table A-2: n = 7 to 45 and 50.
    assert len(list(printed("springer_a2_triangle.csv"))) == 120
    assert unlike(Method.TRIANGLE, "springer_a2_triangle.csv") == []


def test_paired_preference_of_iso_5495() -> None:
    # GOST R 53161 (ISO 5495) table A.1, one-sided; all 120 entries.
    assert len(list(printed("gost_iso5495_paired_one_sided.csv"))) == 120
    assert unlike(Method.PAIRED_ONE_SIDED, "gost_iso5495_paired_one_sided.csv") == []


def test_duo_trio_of_iso_10399_but_for_its_misprint() -> None:
    # GOST ISO 10399-2015 table A.1: row 22 repeats row 21 at the three wider risks.
    assert len(list(printed("gost_iso10399_duo_trio.csv"))) == 200
    odd = unlike(Method.DUO_TRIO, "gost_iso10399_duo_trio.csv")
    assert odd == [(22, "0.2", 13), (22, "0.1", 14), (22, "0.05", 15)]
    # What is printed there would be wrong more often than its own risk allows.
    for n, risk, needed in odd:
        assert p_value(Method.DUO_TRIO, n, needed or 0) > Fraction(risk)


@pytest.mark.parametrize(("n", "needed"), [
    (10, 7), (15, 9), (20, 11), (25, 13), (30, 15), (35, 17), (40, 19), (50, 23), (60, 27),
])  # fmt: skip
def test_triangle_of_iso_4120(n: int, needed: int) -> None:
    # ISO 4120:2021 at 5 %, by a secondary note (references 4); the original was not opened.
    assert critical_count(Method.TRIANGLE, n, Decimal("0.05")) == needed


@pytest.mark.parametrize(("n", "needed"), [
    (6, (6, None, None)), (10, (9, 10, None)), (18, (14, 15, 17)), (24, (18, 19, 21)),
    (30, (21, 23, 25)), (48, (32, 34, 36)), (60, (39, 41, 44)),
])  # fmt: skip
def test_paired_preference_on_two_sides(n: int, needed: tuple[int | None, ...]) -> None:
    # references 4: exact fractions, half the risk on either side.
    risks = (Decimal("0.05"), Decimal("0.01"), Decimal("0.001"))
    found = tuple(critical_count(Method.PAIRED_TWO_SIDED, n, risk) for risk in risks)
    assert found == needed
