"""A formula questions itself: what cannot be, and what is unusual of values taken together."""

from decimal import Decimal

import pytest
from CoolProp.CoolProp import PropsSI

from recipes.brewing.balances import House
from recipes.formula.doubts import (
    HEAVIEST,
    WIDE,
    doubts,
    fault_words,
    impossible,
    most_in_cup,
)
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS
from stations.metrology.formula import Stated
from stations.metrology.solubles import MOST_SOLUBLE
from tests.recipes.shelf import FORMULA, number

D = Decimal
TIMED = FORMULA | {"shot_time": number("28", "3", "3"), "preinfusion_time": number("4")}
HOUSE = House(1.75, 1.60, 1.90, stations=8, shots=240)


def fields(formula: Formula) -> list[str]:
    return [problem.field for problem in impossible(formula)]


def kinds(formula: Formula, house: House | None = None) -> list[str]:
    return [doubt.kind for doubt in doubts(formula, house)]


def test_an_ordinary_formula_is_left_alone() -> None:
    assert impossible(TIMED) == []
    assert doubts(TIMED, None) == []
    assert doubts(TIMED, HOUSE) == []


def test_nothing_stated_nothing_asked() -> None:
    assert impossible(Formula()) == []
    assert doubts(Formula(), HOUSE) == []


def test_more_in_the_cup_than_there_is_cannot_be() -> None:
    wrong = TIMED | {"beverage_mass": number("100", "2"), "water_volume": number("72", "2")}
    (problem,) = impossible(wrong)
    assert (problem.field, problem.value) == ("beverage_mass", D(100))
    # 72 g of water and 36 % of 18.0 g, by hand: 78.48 g.
    assert "at most 78.4 g" in problem.allowed
    assert fault_words([problem])[0].startswith("Yield 100 g: at most 78.4 g: 72 mL of water")
    assert fields(wrong | {"beverage_mass": number("78.5")}) == ["beverage_mass"]
    assert fields(wrong | {"beverage_mass": number("78.4")}) == []


def test_the_limit_is_not_below_what_water_weighs() -> None:
    # Water is densest at 4 °C: 999.975 kg/m3 (references 1.4), by CoolProp's IAPWS-95.
    densest = PropsSI("D", "T", 277.13, "P", 101325, "Water")
    assert float(HEAVIEST) * 1000 >= densest
    assert most_in_cup(D(18), D(72)) == D("78.48")


def test_preinfusion_is_a_part_of_the_shot() -> None:
    assert fields(TIMED | {"preinfusion_time": number("28")}) == ["preinfusion_time"]
    assert fields(TIMED | {"preinfusion_time": number("40")}) == ["preinfusion_time"]
    assert fields(TIMED | {"preinfusion_time": number("27.9")}) == []


def test_no_tolerance_reaches_below_nothing() -> None:
    wide = TIMED | {"water_volume": number("72", "200", "200")}
    (problem,) = impossible(wide)
    assert (problem.field, problem.value) == ("water_volume_below", D(200))
    assert "at most 62 mL" in problem.allowed
    assert fault_words([problem]) == [
        "Water volume, tolerance below 200 mL: at most 62 mL, as water volume is from 10 to 500 mL."
    ]


def test_a_tolerance_that_lets_anything_pass_is_asked_about() -> None:
    (asked,) = doubts(TIMED | {"water_volume": number("72", "2", "200")}, None)
    assert asked.kind == "wide_water_volume"
    assert "200 mL lets almost any shot pass" in asked.words
    assert asked.about(TIMED) == {
        "water_volume": "70", "water_volume_above": "2", "water_volume_below": "2",
    }  # fmt: skip


@pytest.mark.parametrize("code", [c for c, p in PARAMETERS.items() if p.usual_width])
def test_the_institutes_tolerances_are_not_asked_about(code: str) -> None:
    # references 6.10: dose 0.5 g, water 2 °C, 1 bar, 5 s.
    published = {"g": D("0.5"), "Cel": D(2), "bar": D(1), "s": D(5)}
    parameter = PARAMETERS[code]
    if "time" not in code or code == "shot_time":
        assert published.get(parameter.unit, D(0)) <= WIDE * parameter.usual_width


def test_the_yield_is_held_against_what_was_measured() -> None:
    # 70 mL at 998.2 g/L less 1.75 x 18 g is 38.4 g; 1.60 to 1.90 g/g make it 35.7 to 41.1 g.
    assert "water_balance" not in kinds(FORMULA, HOUSE)
    long = FORMULA | {"beverage_mass": number("45", "2", "2")}
    (asked,) = doubts(long, HOUSE)
    assert asked.kind == "water_balance"
    assert "by what was measured here it gives 35.7 to 41.1 g" in asked.words
    # Its own tolerance reaches what is measured: nothing to ask.
    assert kinds(FORMULA | {"beverage_mass": number("43", "2", "2")}, HOUSE) == []


def test_unmeasured_only_the_far_off_is_asked_about() -> None:
    assert kinds(FORMULA | {"beverage_mass": number("45")}) == []
    (asked,) = doubts(FORMULA | {"beverage_mass": number("66")}, None)
    assert "nothing is measured" in asked.words


def test_brew_ratio_temperature_time_and_plan_are_asked_about() -> None:
    assert kinds(FORMULA | {"dose_mass": number("18"), "beverage_mass": number("15")}) == [
        "brew_ratio", "water_balance",
    ]  # fmt: skip
    assert kinds(FORMULA | {"brew_temperature": number("99")}) == ["brew_temperature"]
    assert kinds(TIMED | {"shot_time": number("90")}) == ["shot_time"]
    assert kinds(TIMED | {"brew_pressure": number("12")}) == ["plan_brew_pressure"]
    stages = {"preinfusion_time": number("15"), "rise_time": number("13")}
    assert "stages_fill_shot" in kinds(TIMED | stages)


def test_a_stage_that_is_odd_twice_is_one_question() -> None:
    rising = {"taper_start": number("80"), "taper_pressure": number("10")}
    (asked,) = doubts(TIMED | {"brew_pressure": number("9")} | rising, None)
    assert asked.kind == "plan_taper_pressure"
    assert "usual is 0 to 9" in asked.words
    assert "above the brewing pressure" in asked.words


def test_what_an_answer_is_about_does_not_hang_on_zeros() -> None:
    (asked,) = doubts(FORMULA | {"brew_temperature": number("99")}, None)
    assert asked.about(FORMULA | {"brew_temperature": number("99.0")}) == asked.about(
        FORMULA | {"brew_temperature": Stated(D("99"), D("0.5"))}
    )


def test_no_coffee_gives_more_than_it_holds() -> None:
    # Complete extraction: 29 to 36 % (see stations.metrology.solubles for who measured it).
    assert D(29) <= MOST_SOLUBLE <= D(36)
