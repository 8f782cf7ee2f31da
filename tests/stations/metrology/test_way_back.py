"""What a station is set to, read back: the way there and the way back of each rule agree."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from stations.metrology.abilities import MachineAbilities, StationTraits
from stations.metrology.formula import Stated
from stations.metrology.numbers import EXACT
from stations.metrology.rules import (
    AS_IS,
    OFFSET,
    PULSE_OF_PERCENT,
    PULSES,
    TranslationRule,
    stated_by,
)
from stations.metrology.translate import translate
from tests.stations.metrology.bar import RULES, STATION, able

D = Decimal
NEAR = D("1e-20")  # quotients end after 28 digits
TRAITS = st.builds(
    StationTraits,
    pulses_per_millilitre=st.decimals("0.5", "20", places=4),
    temperature_offset=st.none() | st.decimals("-3", "3", places=2),
)
TARGETS = st.decimals("0", "500", places=6)


@given(st.sampled_from([AS_IS, OFFSET, PULSES]), TARGETS, TRAITS)
def test_back_from_the_exact_setting_is_the_target(
    rule: TranslationRule, target: Decimal, traits: StationTraits
) -> None:
    conversion = rule.conversion(traits, None)
    assert conversion is not None
    assert abs(conversion.inverse(conversion.forward(target)) - target) < NEAR


@given(st.decimals("0", "100", places=4), st.decimals("1", "20000", places=4))
def test_a_share_comes_back_whatever_it_is_of(percent: Decimal, whole: Decimal) -> None:
    conversion = PULSE_OF_PERCENT.conversion(STATION, whole)
    assert conversion is not None
    assert abs(conversion.inverse(conversion.forward(percent)) - percent) < NEAR


ABLE = {
    "water_volume": able("water_volume", "0", "100000", "1"),
    "taper_start": able("taper_start", "0", "100000", "1"),
    "brew_temperature": able("brew_temperature", "-10", "600", "0.1"),
    "brew_pressure": able("brew_pressure", "0", "600", "0.5"),
}


@given(
    water=st.decimals("20", "200", places=2),
    taper=st.decimals("50", "100", places=1),
    temperature=st.decimals("80", "99", places=2),
    pressure=st.decimals("1", "12", places=2),
    traits=TRAITS,
)
def test_settings_stand_for_what_was_asked_within_half_a_step(
    water: Decimal, taper: Decimal, temperature: Decimal, pressure: Decimal, traits: StationTraits
) -> None:
    asked = {
        "water_volume": Stated(water),
        "brew_temperature": Stated(temperature),
        "brew_pressure": Stated(pressure),
        "taper_start": Stated(taper),
        "ends_by": Stated(text="volume"),
    }
    machine = MachineAbilities(ABLE, frozenset({"volume"}))
    traits = replace(traits, altitude=D(0))
    settings = translate(asked, RULES, machine, traits).settings
    back = stated_by({code: str(each.value) for code, each in settings.items()}, RULES, traits)
    assert back.keys() == asked.keys()
    assert back["ends_by"] == asked["ends_by"]
    slope = traits.pulses_per_millilitre or D(1)
    pulses = D(str(settings["water_volume"].value))
    half_steps = {
        "water_volume": D("0.5") / slope,
        "brew_temperature": D("0.05"),
        "brew_pressure": D("0.25"),
        # Half a pulse of its own, and what the whole is off by.
        "taper_start": 100 * (D("0.5") + D("0.5") * taper / 100) / pulses,
    }
    for code, most in half_steps.items():
        off = EXACT.subtract(back[code].target or D(0), asked[code].target or D(0))
        assert abs(off) <= most + NEAR, code


def test_what_a_station_cannot_tell_is_left_out() -> None:
    """By hand: 280 pulses at 4 a millilitre are 70 mL; without a calibration nobody knows."""
    settings = {"water_volume": "280", "taper_start": "257.6", "gone": "1"}
    assert stated_by(settings, RULES, STATION) == {
        "water_volume": Stated(D(70)),
        "taper_start": Stated(D(92)),
    }
    unknown = replace(STATION, pulses_per_millilitre=None)
    assert stated_by(settings, RULES, unknown) == {"taper_start": Stated(D(92))}
