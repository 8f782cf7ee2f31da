"""What a translation refuses, and the sentence it says."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from stations.metrology.abilities import StationTraits
from stations.metrology.formula import Stated
from stations.metrology.sentences import sentence
from stations.metrology.translate import translate
from stations.metrology.translation import Reason, Refusal
from tests.stations.metrology.bar import MACHINE, PARAMETERS, RULES, STATION, able, line

D = Decimal
StatedLine = tuple[str, Stated]


def said(found: Refusal) -> str:
    """Return a refusal as people read it."""
    return sentence(found, RULES[found.code])


def refusal(stated: StatedLine, traits: StationTraits = STATION, *others: StatedLine) -> Refusal:
    """Return the only refusal of a one-line formula."""
    found = translate(dict([stated, *others]), RULES, MACHINE, traits)
    assert stated[0] not in found.settings
    assert not found.placeable
    return next(r for r in found.refusals if r.code == stated[0])


@pytest.mark.parametrize(
    ("stated", "kind", "words"),
    [
        (
            line("brew_pressure", "9.5", "0.2"),
            Reason.OUT_OF_RANGE,
            "brew pressure 9.5 bar is above what this machine can set (4 to 9 bar)",
        ),
        (
            line("brew_pressure", "3", "0.2"),
            Reason.OUT_OF_RANGE,
            "brew pressure 3 bar is below what this machine can set (4 to 9 bar)",
        ),
        (
            line("brew_temperature", "99", "0.5"),
            Reason.OUT_OF_RANGE,
            "brew temperature 99 °C needs 98.5 °C here, above what this machine can set "
            "(80 to 98 °C)",
        ),
        (
            line("water_volume", "280", "2"),
            Reason.OUT_OF_RANGE,
            "water volume 280 mL needs 1,120 pulses here, above what this machine can set "
            "(10 to 900 pulses)",
        ),
        (
            line("brew_pressure", "8.75", "0.1"),
            Reason.TOO_COARSE,
            "brew pressure 8.75 bar ±0.1 bar can't be held here: the nearest setting is 9 bar "
            "(steps of 0.5 bar)",
        ),
        (
            line("water_volume", "70.1", "0.05"),
            Reason.TOO_COARSE,
            "water volume 70.1 mL ±0.05 mL can't be held here: the nearest count, 280 pulses, is "
            "off by -0.1 mL",
        ),
        (
            line("beverage_mass", "36", "1"),
            Reason.MISSING_ABILITY,
            "beverage mass is not something this machine can set",
        ),
        (
            ("ends_by", Stated(text="mass")),
            Reason.ENDS_BY,
            "this machine can't end a shot by mass; it can by operator or volume",
        ),
    ],
)
def test_sentence(stated: StatedLine, kind: Reason, words: str) -> None:
    mass = ("ends_by", Stated(text="mass"))
    found = refusal(stated, STATION, *([mass] if stated[0] == "beverage_mass" else []))
    assert (found.code, found.kind, said(found)) == (stated[0], kind, words)


def test_a_refusal_is_facts_that_a_digest_can_bind() -> None:
    assert refusal(line("brew_pressure", "9.50", "0.2")).as_json() == {
        "code": "brew_pressure",
        "kind": "out_of_range",
        "params": {"target": "9.50", "setting": "9.5", "minimum": "4", "maximum": "9"},
    }
    assert refusal(line("water_volume", "70.1", "0.05")).as_json()["params"] == {
        "target": "70.1",
        "below": "0.05",
        "above": "0.05",
        "setting": "280",
        "resolution": "1",
        "deviation": "-0.100",
    }


def test_no_calibration_no_pulses() -> None:
    traits = replace(STATION, pulses_per_millilitre=None)
    found = refusal(line("water_volume", "70", "2"), traits)
    assert found.kind is Reason.NO_CALIBRATION
    assert said(found) == (
        "water volume 70 mL ±2 mL can't be set in pulses: this station has no accepted flow-meter "
        "calibration"
    )


def test_a_wide_calibration_cannot_hold_a_narrow_tolerance() -> None:
    traits = replace(STATION, slope_uncertainty=D("0.04"), repeatability=D("0.3"))
    assert translate(dict([line("water_volume", "70", "1.6")]), RULES, MACHINE, traits).placeable
    found = refusal(line("water_volume", "70", "1.5"), traits)
    # 2 √(0.7² + 0.3² + 0.25²/12) = 1.530 mL.
    assert said(found) == (
        "water volume 70 mL ±1.5 mL can't be held with this station's calibration: rounding puts "
        "it off by 0 mL, and it is uncertain by ±1.53 mL (k = 2)"
    )


def test_a_wide_offset_cannot_hold_a_narrow_tolerance() -> None:
    traits = replace(STATION, offset_uncertainty=D("0.3"))
    found = refusal(line("brew_temperature", "93", "0.5"), traits)
    assert found.kind is Reason.TOO_UNCERTAIN
    assert translate(
        dict([line("brew_temperature", "93", "0.7")]), RULES, MACHINE, traits
    ).placeable


def test_tolerance_is_one_sided_where_it_is_stated_so() -> None:
    upward = {"brew_pressure": Stated(D("8.75"), below=D("0.1"), above=None)}
    downward = {"brew_pressure": Stated(D("8.75"), below=None, above=D("0.1"))}
    assert translate(upward, RULES, MACHINE, STATION).placeable
    assert not translate(downward, RULES, MACHINE, STATION).placeable


def test_exactly_at_the_tolerance_and_at_the_limit_is_placed() -> None:
    edge = line("brew_pressure", "8.75", "0.25")
    assert translate(dict([edge]), RULES, MACHINE, STATION).settings["brew_pressure"].value == D(9)


def test_taper_without_a_volume() -> None:
    assert refusal(line("taper_start", "92", "1")).kind is Reason.NOT_STATED


def test_one_refusal_leaves_the_other_settings() -> None:
    formula = dict([line("brew_pressure", "12", "0.2"), line("rise_time", "2", "0.5")])
    found = translate(formula, RULES, MACHINE, STATION)
    assert list(found.settings) == ["rise_time"]
    assert len(found.refusals) == 1


def test_coarse_pulses_refuse_a_taper_they_cannot_place() -> None:
    tens = {**PARAMETERS, "taper_start": able("taper_start", "10", "900", "10")}
    machine = replace(MACHINE, parameters=tens)
    formula = dict([line("water_volume", "70", "2"), line("taper_start", "92", "0.5")])
    found = translate(formula, RULES, machine, STATION)
    assert [r.kind for r in found.refusals] == [Reason.TOO_COARSE]
    assert "260 pulses, is off by 0.857 %" in said(found.refusals[0])
