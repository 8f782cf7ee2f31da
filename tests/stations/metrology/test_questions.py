"""What is asked about a calibration's readings, and what is not."""

from collections.abc import Sequence
from decimal import Decimal

import pytest

from stations.metrology.flowmeter import Run
from stations.metrology.offset import Reading
from stations.metrology.offset_questions import ask_about_offset, usual_offset
from stations.metrology.questions import Question, ask_about_flow, usual_pulses
from stations.metrology.scales import Scales

GRAMS = (35, 70, 105, 140, 70)


def flow(
    *odd: tuple[int, Run], in_use: str | None = "4.11", slope: str = "4.11"
) -> dict[str, Question]:
    """Questions by code about ordinary runs, some of which are others."""
    runs = [
        (at, Run(round(Decimal(slope) * grams), Decimal(grams), 19))
        for at, grams in enumerate(GRAMS, 1)
    ]
    changed = dict(odd)
    asked = ask_about_flow(
        [(at, changed.get(at, run)) for at, run in runs],
        None if in_use is None else Decimal(in_use),
    )
    return {question.code: question for question in asked}


def offset(
    pairs: Sequence[tuple[str, str]], in_use: str | None = None, boiling: float | None = None
) -> dict[str, Question]:
    """Questions by code about readings."""
    readings = [
        (at, Reading(Decimal(displayed), Decimal(measured)))
        for at, (displayed, measured) in enumerate(pairs, 1)
    ]
    used = None if in_use is None else Decimal(in_use)
    return {one.code: one for one in ask_about_offset(readings, used, boiling)}


def test_sentences_in_other_units_say_the_same() -> None:
    """A temperature and a difference of two are not converted alike."""
    readings = [(at, Reading(Decimal("93.0"), Decimal("85.0"))) for at in (1, 2, 3)]
    (asked,) = ask_about_offset(readings, scales=Scales("°F", 1.8, 32.0))
    assert asked.values[0] == "displayed 199.4 °F, measured 185 °F"
    assert "would have the machine set 14.4 °F higher" in asked.means
    assert asked.usual == "Usual is an offset within ±9 °F (common practice, no source)."
    (same,) = ask_about_offset(readings)
    assert same.values[0] == "displayed 93 °C, measured 85 °C"
    assert "set 8.0 °C higher" in same.means


def test_ordinary_runs_raise_none() -> None:
    assert flow() == {}
    assert flow(in_use=None) == {}
    assert flow(slope="4.3") == {}  # 5 % from the value in use
    assert offset([("93.0", "92.2"), ("93.0", "92.4")], "-0.7", 98.9) == {}


@pytest.mark.parametrize("in_use", ["4.11", None])
def test_swapped_columns(in_use: str | None) -> None:
    swapped = [
        (at, Run(Decimal(grams), round(Decimal("4.11") * grams), 19))
        for at, grams in enumerate(GRAMS, 1)
    ]
    asked = flow(*swapped, in_use=in_use)
    assert set(asked) == {"swapped"}
    assert asked["swapped"].runs == (1, 2, 3, 4, 5)
    assert "0.243 pulses/g" in asked["swapped"].means
    assert "4.11" in asked["swapped"].means


def test_one_swapped_run_is_named_alone() -> None:
    asked = flow((2, Run(70, 288, 19)))
    assert set(asked) == {"swapped"}
    assert asked["swapped"].where == "Run 2"
    assert asked["swapped"].values == ("70 pulses, 288 g",)


def test_ounces_for_grams() -> None:
    ounces = [
        (at, Run(round(Decimal("4.11") * grams), Decimal(grams) / Decimal("28.349523125"), 19))
        for at, grams in enumerate(GRAMS, 1)
    ]
    asked = flow(*ounces)
    assert set(asked) == {"ounces"}
    assert "28.3495 g each, NIST SP 811" in asked["ounces"].means


@pytest.mark.parametrize("pulses", [2880, 29])
def test_a_digit_too_many_or_too_few(pulses: int) -> None:
    assert set(flow((2, Run(pulses, 70, 19)))) == {"ten_times"}


def test_one_run_that_is_not_like_the_others() -> None:
    assert flow((4, Run(400, 140, 19)))["apart"].runs == (4,)


def test_another_meter_altogether() -> None:
    assert "+31%" in flow(slope="5.4")["moved"].means
    assert set(flow(slope="21", in_use=None)) == {"unusual"}
    assert set(flow(slope="114", in_use=None)) == {"ounces"}  # 4.02 in grams
    assert set(flow(slope="40", in_use="39.5")) == set()  # what is in use is usual here


def test_water_that_is_not_cold() -> None:
    """64 °C is either no cold water, or 64 °F: 17.8 °C, exactly (64 - 32) / 1.8."""
    asked = flow((3, Run(432, 105, 64)))
    assert set(asked) == {"warm_water"}
    assert asked["warm_water"].where == "Run 3"
    assert "17.8 °C" in asked["warm_water"].means
    assert "below 35 °C" in asked["warm_water"].usual


def test_an_offset_of_eight_degrees() -> None:
    asked = offset([("93.0", "85.0"), ("93.0", "85.2"), ("93.0", "84.8")])
    assert set(asked) == {"wide_offset"}
    assert asked["wide_offset"].runs == (1, 2, 3)
    assert "8.2 °C higher" in asked["wide_offset"].means


def test_readings_the_other_way_round() -> None:
    assert set(offset([("91.8", "93.0"), ("91.8", "93.0")], "-1.2")) == {"swapped"}


def test_a_reading_apart_and_a_cool_group() -> None:
    asked = offset([("93.0", "92.2"), ("93.0", "92.1"), ("93.0", "88.6")])
    assert (set(asked), asked["apart"].runs) == ({"apart"}, (3,))
    assert set(offset([("64.0", "63.5")] * 2)) == {"cool_group"}


def test_nothing_open_is_hotter_than_boiling_water() -> None:
    """At 2,240 m water boils at 92.6 °C (by ISO 2533 and IAPWS)."""
    asked = offset([("95.0", "95.1"), ("95.0", "94.9")], boiling=92.6)
    assert set(asked) == {"above_boiling"}


def test_figures_by_themselves() -> None:
    assert usual_pulses(4.11) == usual_offset(-1.2) == ""
    assert "0.8 to 20 pulses/mL (common practice, no source)" in usual_pulses(0.243)
    assert "within ±5 °C" in usual_offset(-8)
