"""What a formula becomes at one station."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stations.metrology.abilities import StationTraits
from stations.metrology.errors import BadValueError
from stations.metrology.formula import Stated
from stations.metrology.translate import translate
from stations.metrology.translation import Setting
from tests.stations.metrology.bar import FORMULA, LINES, MACHINE, RULES, STATION, able, line

D = Decimal


def test_a_double_of_280_pulses_tapers_at_258() -> None:
    # Common practice, no source: 92 % of 280 pulses is 257.6, so pulse 258, and 22 remain.
    settings = translate(FORMULA, RULES, MACHINE, STATION).settings
    assert settings["water_volume"] == Setting(D(280), "pulses")
    assert settings["taper_start"] == Setting(D(258), "pulses")
    assert 280 - 258 == 22


def test_the_whole_formula() -> None:
    found = translate(FORMULA, RULES, MACHINE, STATION)
    assert {code: str(setting.value) for code, setting in found.settings.items()} == {
        "water_volume": "280",
        "brew_temperature": "92.5",
        "preinfusion_time": "4.0",
        "preinfusion_pressure": "3.0",
        "rise_time": "2.0",
        "intermediate_pressure": "7.0",
        "brew_pressure": "9.0",
        "taper_start": "258",
        "taper_pressure": "6.0",
        "ends_by": "volume",
    }
    assert found.placeable
    assert found.flags == ()


def test_settings_keep_the_order_of_the_formula() -> None:
    found = translate(dict(LINES[::-1]), RULES, MACHINE, STATION)
    assert next(iter(found.settings)) == "ends_by"


def test_offset_is_what_the_group_has_more_than_the_display() -> None:
    hot = replace(STATION, temperature_offset=D("1.5"))
    cold = replace(STATION, temperature_offset=D("-1.5"))
    assert translate(FORMULA, RULES, MACHINE, hot).settings["brew_temperature"].value == D("91.5")
    assert translate(FORMULA, RULES, MACHINE, cold).settings["brew_temperature"].value == D("94.5")


def test_beverage_mass_is_a_setting_only_where_a_scale_ends_the_shot() -> None:
    machine = replace(
        MACHINE,
        ends_by=frozenset({"mass"}),
        parameters={**MACHINE.parameters, "beverage_mass": able("beverage_mass", "5", "99", "0.1")},
    )
    by_mass = {**FORMULA, "ends_by": Stated(text="mass")}
    found = translate(by_mass, RULES, machine, STATION)
    assert found.settings["beverage_mass"] == Setting(D("36.0"), "g")
    assert "beverage_mass" not in translate(FORMULA, RULES, MACHINE, STATION).settings


def test_what_the_formula_does_not_state_gets_no_setting() -> None:
    formula = {"brew_pressure": Stated(), "ends_by": Stated(), **dict([line("dose_mass", "18")])}
    found = translate(formula, RULES, MACHINE, StationTraits())
    assert found.settings == {}
    assert found.placeable


def test_an_unknown_parameter_is_an_error() -> None:
    with pytest.raises(BadValueError, match="steam_pressure"):
        translate(dict([line("steam_pressure", "1")]), RULES, MACHINE, STATION)


@given(st.decimals("0.5", "12", places=5), st.decimals("5", "70", places=2))
def test_pulses_are_the_nearest_to_volume_times_slope(slope: Decimal, volume: Decimal) -> None:
    traits = StationTraits(pulses_per_millilitre=slope)
    found = translate(dict([line("water_volume", str(volume))]), RULES, MACHINE, traits)
    if found.placeable:
        pulses = found.settings["water_volume"].value
        assert isinstance(pulses, Decimal)
        assert abs(pulses - slope * volume) <= D("0.5")


@given(st.decimals("1", "9", places=4), st.integers(20, 90), st.integers(1, 9))
def test_more_water_never_means_fewer_pulses(slope: Decimal, volume: int, more: int) -> None:
    traits = StationTraits(pulses_per_millilitre=slope)
    pair = [
        translate(dict([line("water_volume", str(v))]), RULES, MACHINE, traits).settings[
            "water_volume"
        ]
        for v in (volume, volume + more)
    ]
    assert D(pair[0].value) <= D(pair[1].value)


@given(st.decimals("1", "9", places=4), st.decimals("20", "90", places=3))
def test_millilitres_or_litres_give_the_same_pulses(slope: Decimal, volume: Decimal) -> None:
    millilitres = translate(
        dict([line("water_volume", str(volume))]), RULES, MACHINE, StationTraits(slope)
    )
    litres = translate(
        {"water_volume": Stated(volume / 1000)}, RULES, MACHINE, StationTraits(slope * 1000)
    )
    assert millilitres.settings == litres.settings
