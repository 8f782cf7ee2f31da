"""The gateway's hard limits are the registry's, and what lies outside is found."""

from decimal import Decimal

import pytest

from gateway.ranges import CODES, ENDINGS, RANGES, Amount, differences, outside
from recipes.formula.parameters import ENDINGS as REGISTRY_ENDINGS
from recipes.formula.parameters import machine_settings


def test_the_ranges_are_those_of_the_registry() -> None:
    registry = {each.code: (each.minimum, each.maximum, each.unit) for each in machine_settings()}
    assert {code: (each.low, each.high, each.unit) for code, each in RANGES.items()} == registry


def test_the_endings_are_those_of_the_registry() -> None:
    assert tuple(code for code, _ in REGISTRY_ENDINGS) == ENDINGS


@pytest.mark.parametrize("code", RANGES)
def test_a_value_just_outside_is_found(code: str) -> None:
    allowed = RANGES[code]
    for value in (allowed.low - Decimal("0.01"), allowed.high + Decimal("0.01")):
        assert list(outside({code: Amount(str(value), allowed.unit)}))
    for value in (allowed.low, allowed.high):
        assert list(outside({code: Amount(str(value), allowed.unit)})) == []


@pytest.mark.parametrize(
    ("code", "value", "unit"),
    [
        ("brew_temperature", "93", "[degF]"),
        ("brew_temperature", "93", ""),
        ("brew_temperature", "NaN", "Cel"),
        ("brew_temperature", "Infinity", "Cel"),
        ("brew_temperature", "hot", "Cel"),
        ("boiler_pressure", "1.2", "bar"),
        ("pump", "1", ""),
        ("steam_valve", "open", ""),
        ("ends_by", "never", ""),
        ("ends_by", "volume", "mL"),
    ],
)
def test_what_is_no_setting_of_a_slot_is_found(code: str, value: str, unit: str) -> None:
    assert list(outside({code: Amount(value, unit)}))


def test_no_code_names_a_boiler_a_pump_or_a_valve() -> None:
    assert not [
        code for code in CODES if any(word in code for word in ("boiler", "pump", "valve", "steam"))
    ]


def test_a_difference_is_of_the_number_not_of_its_writing() -> None:
    wanted = {"brew_temperature": Amount("93.0", "Cel"), "ends_by": Amount("volume")}
    assert list(differences(wanted, {**wanted, "brew_temperature": Amount("93", "Cel")})) == []
    assert len(list(differences(wanted, {"brew_temperature": Amount("94", "Cel")}))) == 2
