"""What a formula may say, and what it must say before it is submitted."""

from decimal import Decimal

import pytest

from audit.errors import Invalid
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS
from recipes.versions.complete import gaps
from stations.metrology.formula import Stated
from tests.recipes.shelf import FORMULA, number

WIDEST = Decimal("0.000001")  # six places


@pytest.mark.parametrize(
    ("code", "entry", "field"),
    [
        ("dose_mass", number("4.9"), "dose_mass"),
        ("dose_mass", number("30.1"), "dose_mass"),
        ("dose_mass", number("-18"), "dose_mass"),
        ("dose_mass", number("NaN"), "dose_mass"),
        ("dose_mass", number("sNaN"), "dose_mass"),
        ("dose_mass", number("Infinity"), "dose_mass"),
        ("dose_mass", number("1E+999999"), "dose_mass"),
        ("dose_mass", number("18.0000001"), "dose_mass"),
        ("dose_mass", Stated(18.0), "dose_mass"),  # type: ignore[arg-type]
        ("dose_mass", Stated(text="18"), "dose_mass"),
        ("dose_mass", Stated(below=Decimal(1)), "dose_mass"),
        ("dose_mass", number("18", "-0.1"), "dose_mass_below"),
        ("dose_mass", number("18", "0.1", "26"), "dose_mass_above"),
        ("dose_mass", number("18", "NaN"), "dose_mass_below"),
        ("ends_by", Stated(text="gravity"), "ends_by"),
        ("ends_by", number("1"), "ends_by"),
        ("grind_note", Stated(text="x" * 201), "grind_note"),
        ("grind_note", Stated(text="a\nb"), "grind_note"),
        ("grind_note", Stated(text="a\x00b"), "grind_note"),
        ("grind_note", Stated(text="\udfff"), "grind_note"),
        ("colour", Stated(text="brown"), "colour"),
    ],
)
def test_a_value_that_cannot_be_is_named(code: str, entry: Stated, field: str) -> None:
    with pytest.raises(Invalid) as told:
        Formula.read({code: entry})
    assert [problem.field for problem in told.value.problems] == [field]
    assert "Allowed:" in told.value.message
    assert len(told.value.message) < 500


@pytest.mark.parametrize("code", [c for c, p in PARAMETERS.items() if p.is_number])
def test_limits_belong_to_the_range(code: str) -> None:
    low, high = PARAMETERS[code].minimum, PARAMETERS[code].maximum
    for fits in (low, high):
        assert Formula.read({code: Stated(fits, Decimal(0), high - low)})
    for out in (low - WIDEST, high + WIDEST):
        with pytest.raises(Invalid):
            Formula.read({code: Stated(out)})


def test_empty_entries_are_left_out_and_order_is_the_registrys() -> None:
    given = {
        "ends_by": Stated(text=" mass "),
        "grind_note": Stated(text="  "),
        "dose_mass": number("18"),
    }
    assert list(Formula.read(given).items()) == [
        ("dose_mass", number("18")),
        ("ends_by", Stated(text="mass")),
    ]


def test_equality_is_of_numbers_not_of_digits() -> None:
    dose = Formula({"dose_mass": number("18.0", "0")})
    assert not dose.differing({"dose_mass": number("18.00", "0.0")})
    assert dose.differing({"dose_mass": number("18")}) == {"dose_mass"}
    assert Formula({"a": number("1")}).differing({}) == {"a"}


def test_a_complete_formula_has_no_gaps() -> None:
    assert gaps(FORMULA) == []


@pytest.mark.parametrize(
    ("without", "more", "missing"),
    [
        ("dose_mass", {}, "dose_mass"),
        ("beverage_mass", {}, "beverage_mass"),
        ("brew_temperature", {}, "brew_temperature"),
        ("ends_by", {}, "ends_by"),
        ("", {"ends_by": Stated(text="time")}, "shot_time"),
        ("", {"taper_start": number("90")}, "taper_pressure"),
        ("", {"taper_pressure": number("6")}, "taper_start"),
        ("", {"preinfusion_pressure": number("3")}, "preinfusion_time"),
        (
            "water_volume",
            {
                "ends_by": Stated(text="mass"),
                "taper_start": number("90"),
                "taper_pressure": number("6"),
            },
            "water_volume",
        ),
    ],
)
def test_each_gap_is_named(without: str, more: dict[str, Stated], missing: str) -> None:
    formula = FORMULA | more | ({without: Stated()} if without else {})
    [problem] = gaps(formula)
    assert problem.field == missing
    assert PARAMETERS[missing].label.lower() in problem.allowed
    assert "because" in problem.message


def test_a_cup_that_says_it_all_leaves_the_water_to_the_stations() -> None:
    """Dose and beverage mass, ended by water: each station gets what yields it, tapered or not."""
    tapered = FORMULA | {"taper_start": number("92"), "taper_pressure": number("6")}
    for formula in (FORMULA, tapered):
        assert gaps(formula | {"water_volume": Stated()}) == []
    for code in ("dose_mass", "beverage_mass"):
        left = FORMULA | {"water_volume": Stated(), code: Stated()}
        assert {each.field for each in gaps(left)} == {code, "water_volume"}


def test_a_shot_that_the_operator_ends_needs_no_volume() -> None:
    formula = FORMULA | {"ends_by": Stated(text="operator"), "water_volume": Stated()}
    assert gaps(formula) == []
