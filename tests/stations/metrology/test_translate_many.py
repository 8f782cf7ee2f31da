"""Many stations in one call give exactly what one station at a time gives."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stations.metrology.abilities import MachineAbilities, StationTraits
from stations.metrology.columns import Thousandths
from stations.metrology.errors import BadValueError
from stations.metrology.formula import Formula, Stated
from stations.metrology.translate import translate, translate_many
from stations.metrology.translation import Setting
from tests.stations.metrology.bar import FORMULA, MACHINE, PARAMETERS, RULES, able, line, stations

D = Decimal
WATER = "water_volume"


def maybe(low: str, high: str, places: int) -> st.SearchStrategy[Decimal | None]:
    """Return decimals or None."""
    return st.none() | st.decimals(low, high, places=places)


TRAITS = st.builds(
    StationTraits,
    # Five at four places gives many exact ties; ten places don't fit the columns.
    pulses_per_millilitre=maybe("0.5", "20", 1) | maybe("3", "5", 6) | maybe("3", "5", 10),
    temperature_offset=maybe("-3", "3", 2),
    altitude=maybe("0", "3000", 0),
    slope_uncertainty=maybe("0", "0.1", 3),
    repeatability=maybe("0", "1", 2),
    offset_uncertainty=maybe("0", "0.5", 2),
    air_pressure=st.none(),
)
MACHINES = st.sampled_from(
    [
        MACHINE,
        MachineAbilities({}, frozenset()),
        MachineAbilities(
            {
                **PARAMETERS,
                "water_volume": able("water_volume", "100", "400", "5"),
                "brew_temperature": able("brew_temperature", "85", "95", "0.3"),
            },
            frozenset({"time"}),
        ),
    ]
)


@st.composite
def formulas(draw: st.DrawFn) -> Formula:
    """Return a formula with drawn volume, taper, temperature and tolerances."""
    width = st.none() | st.decimals("0", "3", places=2)

    def stated(low: str, high: str) -> Stated:
        return Stated(draw(st.decimals(low, high, places=2)), draw(width), draw(width))

    return {
        "water_volume": stated("0", "120"),
        "taper_start": stated("0", "100"),
        "brew_temperature": stated("-5", "99"),
        **dict([line("brew_pressure", "9", "0.3")]),
        "ends_by": Stated(text="volume"),
    }


@settings(max_examples=300)
@given(formulas(), st.lists(st.tuples(MACHINES, TRAITS), max_size=12), st.booleans())
def test_equal_to_one_at_a_time(
    formula: Formula, pairs: list[tuple[MachineAbilities, StationTraits]], refuse: bool
) -> None:
    together = translate_many(formula, RULES, pairs, refuse_above_boiling=refuse)
    apart = [translate(formula, RULES, *pair, refuse_above_boiling=refuse) for pair in pairs]
    assert list(together) == apart
    assert [list(one.settings) for one in together] == [list(one.settings) for one in apart]
    # Equal numbers may differ in their digits; what is stored must not.
    assert repr(together) == repr(apart)


OWN = st.integers(-5_000, 120_000)  # thousandths of a mL


@settings(max_examples=300)
@given(formulas(), st.lists(st.tuples(MACHINES, TRAITS, OWN), max_size=12))
def test_each_stations_own_volume_is_as_if_the_formula_said_it(
    formula: Formula, stations: list[tuple[MachineAbilities, StationTraits, int]]
) -> None:
    """Water of each station's own, and a taper in % of it."""
    pairs = [each[:2] for each in stations]
    volumes = Thousandths(np.array([each[2] for each in stations], dtype=np.int64))
    left = {**formula, WATER: replace(formula[WATER], target=None)}
    together = translate_many(left, RULES, pairs, own={WATER: volumes})
    apart = [
        translate({**formula, WATER: replace(formula[WATER], target=own)}, RULES, *pair)
        for place, pair in enumerate(pairs)
        for own in (volumes.at(place),)
    ]
    assert list(together) == apart
    assert repr(together) == repr(apart)


def test_only_volumes_are_each_stations_own() -> None:
    for code in ("brew_temperature", "dose_mass", "humidity"):
        with pytest.raises(BadValueError, match="volumes that are set in pulses"):
            translate_many(FORMULA, RULES, stations(1), own={code: Thousandths(np.array([60_000]))})


def test_thousands_of_stations_are_exact() -> None:
    fleet = stations(3000)
    assert translate_many(FORMULA, RULES, fleet) == [
        translate(FORMULA, RULES, *one) for one in fleet
    ]


def test_ties_are_rounded_up_in_columns_too() -> None:
    pairs = [(MACHINE, StationTraits(D(n) / 8, D(n) / 20)) for n in range(2, 60)]
    found = translate_many(dict([line("water_volume", "20")]), RULES, pairs)
    for (_, traits), one in zip(pairs, found, strict=True):
        slope = traits.pulses_per_millilitre or D(0)
        expected = int(slope * 20 + D("0.5"))
        if expected >= 10:
            assert one.settings["water_volume"] == Setting(D(expected), "pulses")


def test_numbers_too_large_for_the_columns_stay_exact() -> None:
    wide = MachineAbilities(
        {"water_volume": able("water_volume", "0", "1e18", "0.000001")}, frozenset()
    )
    traits = StationTraits(D("123456789.123456"))
    large = dict([line("water_volume", "987654.321987")])
    found = translate_many(large, RULES, [(wide, traits)])
    exact = Fraction("123456789.123456") * Fraction("987654.321987")
    assert found == [translate(large, RULES, wide, traits)]
    assert abs(Fraction(found[0].settings["water_volume"].value) - exact) <= Fraction(1, 2_000_000)


def test_no_stations_no_translations() -> None:
    assert list(translate_many(FORMULA, RULES, [])) == []
