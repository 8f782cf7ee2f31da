"""Taste tests against printed tables, the exact binomial and SciPy."""

import csv
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from scipy import stats

from recipes.brewing.taste import (
    Method,
    critical_count,
    p_value,
    panel_size,
    power,
)
from recipes.brewing.telling import share_of_tasters

DATA = Path(__file__).parent / "data" / "sensory_exact_critical_values.csv"
METHODS = {
    "triangle": Method.TRIANGLE,
    "half_one": Method.PAIRED_ONE_SIDED,
    "half_two": Method.PAIRED_TWO_SIDED,
}


def test_every_critical_count_of_3_to_120_assessments() -> None:
    # references section 4: exact fractions
    with DATA.open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 118
    for row in rows:
        for column in row.keys() - {"n"}:
            kind, risk = column.rsplit("_", 1)
            want = int(row[column]) if row[column] else None
            assert critical_count(METHODS[kind], int(row["n"]), Decimal(risk)) == want


# FAO V7180E appendix A, triangle: n, then 10, 5, 1 and 0.1 % (rows of all its parts; the whole
# table was compared when this was written, see data/SOURCES_brewing.md).
@pytest.mark.parametrize(("n", "counts"), [
    (3, (3, 3, None, None)),
    (6, (5, 5, 6, None)),
    (12, (7, 8, 9, 10)),
    (24, (12, 13, 15, 16)),
    (30, (14, 15, 17, 19)),
    (36, (17, 18, 20, 22)),
    (60, (26, 27, 30, 33)),
    (96, (39, 41, 44, 48)),
])  # fmt: skip
def test_triangle_table_of_fao(n: int, counts: tuple[int | None, ...]) -> None:
    risks = (Decimal("0.1"), Decimal("0.05"), Decimal("0.01"), Decimal("0.001"))
    assert tuple(critical_count(Method.TRIANGLE, n, risk) for risk in risks) == counts


def test_duo_trio_table_and_its_misprint() -> None:
    # GOST ISO 10399-2015 table A.1: rows 21 and 23; row 22 repeats row 21 there (references 4)
    risks = (Decimal("0.2"), Decimal("0.1"), Decimal("0.05"), Decimal("0.01"), Decimal("0.001"))
    rows = {n: tuple(critical_count(Method.DUO_TRIO, n, risk) for risk in risks) for n in (21, 22)}
    assert rows[21][:3] == (13, 14, 15)
    assert rows[22][:3] == (14, 15, 16)
    assert p_value(Method.DUO_TRIO, 22, 13) > Fraction(26, 100)


@pytest.mark.parametrize(("n", "risk", "exact", "printed"), [
    (37, "0.01", 27, 26), (40, "0.001", 31, 30),
])  # fmt: skip
def test_two_printed_counts_that_are_one_too_few(
    n: int, risk: str, exact: int, printed: int
) -> None:
    # Guidelines for Sensory Analysis, table A-1 (references section 4)
    assert critical_count(Method.PAIRED_ONE_SIDED, n, Decimal(risk)) == exact
    assert p_value(Method.PAIRED_ONE_SIDED, n, printed) > Fraction(risk)


def test_published_p_values() -> None:
    # references 4.1: SensoMineR triangle.pair.test; 4.2: ISO 5495 Amd 1 B.5.2 example 1
    assert float(p_value(Method.TRIANGLE, 20, 11)) == pytest.approx(0.0376366, abs=5e-8)
    assert float(p_value(Method.PAIRED_ONE_SIDED, 30, 21)) == pytest.approx(0.0213870, abs=5e-8)


def test_published_shares() -> None:
    # references 4.2 (ISO 5495 Amd 1 B.5.2 example 1) and 4.3 (triangle; formula from memory)
    assert share_of_tasters(Method.PAIRED_ONE_SIDED, 30, 21).value == pytest.approx(0.4, abs=1e-12)
    assert share_of_tasters(Method.TRIANGLE, 36, 18).value == pytest.approx(0.25, abs=1e-12)


def test_panel_of_23_for_half_able_at_5_and_5_percent() -> None:
    # ISO 4120 table A.3: from memory
    size = panel_size(Method.TRIANGLE, Decimal("0.05"), 0.95, 0.5)
    assert size.least == 23
    assert power(Method.TRIANGLE, 24, Decimal("0.05"), 0.5) < 0.95 or size.steady == 23


@pytest.mark.parametrize("method", list(Method))
@pytest.mark.parametrize("n", [6, 17, 36, 101])
def test_scipy_agrees(method: Method, n: int) -> None:
    sides = "two-sided" if method.sides == 2 else "greater"
    chance = float(method.chance)
    for correct in range(n + 1):
        theirs = stats.binomtest(correct, n, chance, alternative=sides).pvalue
        assert float(p_value(method, n, correct)) == pytest.approx(theirs, rel=1e-9)
    needed = critical_count(method, n, Decimal("0.05"))
    assert needed is not None
    answer = chance + 0.4 * (1 - chance)
    want = stats.binom.sf(needed - 1, n, answer)
    if method.sides == 2:
        want += stats.binom.cdf(n - needed, n, answer)
    assert power(method, n, Decimal("0.05"), 0.4) == pytest.approx(want, rel=1e-12)
