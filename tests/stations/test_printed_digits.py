"""Measured values in print: as many digits as their uncertainty is worth (JCGM 100:2008, 7.2.6)."""

from decimal import Decimal

import pytest

from stations.templatetags.settingtags import as_sure_as, two_digits


@pytest.mark.parametrize(
    ("value", "uncertainty", "printed"),
    [
        ("4.018697", "0.003888", "4.0187"),
        ("-0.400", "0.045", "-0.400"),
        ("4.2", "0.012345", "4.200"),
        ("123.45", "12.3", "123"),
        ("1234.5", "250", "1235"),
    ],
)
def test_a_value_ends_where_its_uncertainty_does(
    value: str, uncertainty: str, printed: str
) -> None:
    assert str(as_sure_as(Decimal(value), Decimal(uncertainty))) == printed


def test_an_unknown_uncertainty_takes_no_digit_away() -> None:
    assert as_sure_as(Decimal("4.18697"), None) == Decimal("4.18697")
    assert as_sure_as(Decimal("4.18697"), Decimal(0)) == Decimal("4.18697")


def test_an_uncertainty_keeps_two_digits() -> None:
    assert str(two_digits(Decimal("0.003888"))) == "0.0039"
    assert two_digits(Decimal(0)) == 0
