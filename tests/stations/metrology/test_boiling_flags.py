"""Temperatures near and above the local boiling point."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from CoolProp.CoolProp import PropsSI

from stations.metrology.atmosphere import boiling_margin, site_pressure
from stations.metrology.errors import BadValueError
from stations.metrology.sentences import sentence
from stations.metrology.translate import translate
from stations.metrology.translation import Flag, Notice, Reason, Refusal, Translation
from tests.stations.metrology.bar import MACHINE, RULES, STATION, line

D = Decimal
FORMULA = dict([line("brew_temperature", "93", "0.5")])


def said(found: Flag | Refusal) -> str:
    """Return a flag or a refusal as people read it."""
    return sentence(found, RULES[found.code])


def at(altitude: str | None, pressure: str | None = None, **policy: bool) -> Translation:
    """Return 93 °C translated for a station at an altitude or air pressure."""
    traits = replace(
        STATION,
        altitude=None if altitude is None else D(altitude),
        air_pressure=None if pressure is None else D(pressure),
    )
    return translate(FORMULA, RULES, MACHINE, traits, **policy)


@pytest.mark.parametrize("altitude", ["2240", "2640"])
def test_93_degrees_above_boiling_is_placed_but_flagged(altitude: str) -> None:
    found = at(altitude)
    assert found.placeable
    assert [flag.kind for flag in found.flags] == [Notice.ABOVE_BOILING]
    assert found.flags[0].needs_acknowledgement


def test_the_flag_explains() -> None:
    assert said(at("2240").flags[0]) == (
        "brew temperature 93 °C is 0.5 °C above boiling (92.5 °C) at the site's altitude of "
        "2,240 m. Inside the group the water stays liquid under pressure, but at the open screen "
        "it flashes into steam, and a reading at an open group can't show this temperature."
    )


def test_a_small_margin_is_flagged_too() -> None:
    assert [flag.kind for flag in at("2000").flags] == [Notice.NEAR_BOILING]
    assert at("1609").flags == ()


def test_below_boiling_nothing_flashes() -> None:
    # 93 °C at 2,000 m: boiling at 93.3 °C by ISO 2533 and IAPWS-IF97 (references 1.15).
    words = said(at("2000").flags[0])
    assert "0.3 °C below boiling (93.3 °C)" in words
    assert "flashes" not in words
    assert "steam" not in words


@pytest.mark.parametrize(
    ("hectopascals", "needed"),
    [("787", True), ("803", True), ("805", False), ("812", False)],
)
def test_a_name_is_needed_as_far_as_weather_may_take_it(hectopascals: str, needed: bool) -> None:
    flag = at(None, hectopascals).flags[0]
    assert flag.needs_acknowledgement is needed
    assert ("It does not boil:" in said(flag)) is not needed


def test_weather_moves_boiling_by_what_the_words_say() -> None:
    # 20 hPa of weather (common practice), by the steam tables of CoolProp's IF97.
    ordinary, low = (PropsSI("T", "P", each * 100, "Q", 0, "IF97::Water") for each in (780, 760))
    assert ordinary - low == pytest.approx(0.6, abs=0.1)


def test_a_barometer_comes_before_the_altitude() -> None:
    assert at("0", "765").flags[0].kind is Notice.ABOVE_BOILING
    assert "765 hPa" in said(at("0", "765").flags[0])
    assert at("2640", "1013.25").flags == ()


def test_policy_can_refuse_what_is_above_boiling() -> None:
    found = at("2240", refuse_above_boiling=True)
    assert [refusal.kind for refusal in found.refusals] == [Reason.ABOVE_BOILING]
    assert said(found.refusals[0]).endswith("The owner's policy refuses this.")
    assert found.settings == {}
    assert at("2000", refuse_above_boiling=True).placeable


def test_unknown_altitude_is_said() -> None:
    assert [flag.kind for flag in at(None).flags] == [Notice.ALTITUDE_UNKNOWN]
    assert not at(None).flags[0].needs_acknowledgement


def test_an_offset_never_measured_is_said() -> None:
    traits = replace(STATION, temperature_offset=None)
    found = translate(FORMULA, RULES, MACHINE, traits)
    assert found.settings["brew_temperature"].value == D(93)
    assert [flag.kind for flag in found.flags] == [Notice.OFFSET_NOT_MEASURED]


def test_higher_sites_boil_lower() -> None:
    margins = [boiling_margin(93, metres) for metres in range(-400, 4000, 50)]
    assert margins == sorted(margins, reverse=True)


def test_a_site_needs_an_altitude_or_a_barometer() -> None:
    with pytest.raises(BadValueError, match="altitude"):
        site_pressure()
    with pytest.raises(BadValueError, match="altitude"):
        at("20000")
    with pytest.raises(BadValueError, match="barometer"):
        at("0", "12")
