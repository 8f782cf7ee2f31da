"""Extraction yield against references section 6."""

from decimal import Decimal

from recipes.brewing.ratio import extraction_yield


def test_yield_of_the_published_definition() -> None:
    # 6.1: EY = beverage x TDS / dose (Batali et al. 2020, Sci Rep; Liang et al. 2021).
    assert extraction_yield(18, 36, Decimal("10.0")) == Decimal("20.00")
    assert extraction_yield(18, 36, Decimal("9.8")) == Decimal("19.60")
