"""What a formula asks of a machine, which machines lack it, and two formulas side by side."""

from recipes.formula.display import ratio_of, ratio_words, rows
from recipes.formula.formula import Formula
from recipes.formula.requirements import requirements, unable
from recipes.versions.differences import version_rows
from recipes.versions.models import Version
from stations.equipment.models import Machine
from stations.metrology.formula import Stated
from tests.bar import Bar
from tests.cast import Cast
from tests.recipes.shelf import FORMULA, make_approved, number

PRESSED = FORMULA | {"brew_pressure": number("9.5", "0.2", "0.2")}


def plain(words: str) -> str:
    """With ordinary blanks."""
    return " ".join(words.split())


def test_outcomes_and_the_baristas_part_ask_nothing_of_a_machine() -> None:
    formula = FORMULA | {"shot_time": number("28"), "grind_note": Stated(text="fine")}
    assert [need.parameter.code for need in requirements(formula)] == [
        "water_volume",
        "brew_temperature",
        "ends_by",
    ]


def test_what_ends_the_shot_is_set_by_the_machine() -> None:
    formula = FORMULA | {"ends_by": Stated(text="mass")}
    codes = [need.parameter.code for need in requirements(formula)]
    assert codes == ["beverage_mass", "brew_temperature", "ends_by"]


def test_requirements_in_words() -> None:
    assert [plain(need.words()) for need in requirements(PRESSED)] == [
        "set water volume to 70 mL",
        "set brew temperature to 93.0 °C",
        "set brew pressure to 9.5 bar",
        "end the shot by water volume",
    ]


def test_machines_that_lack_an_ability_are_named(bar: Bar) -> None:
    assert unable(FORMULA) == []
    [found] = unable(PRESSED)
    assert (found.machine_type, found.machines) == (bar.plain, 1)
    assert found.reasons == ["can't set brew pressure"]


def test_so_are_those_that_cannot_reach_it_or_end_that_way(bar: Bar) -> None:
    formula = FORMULA | {"brew_pressure": number("11"), "ends_by": Stated(text="mass")}
    reasons = {found.machine_type.name: found.reasons for found in unable(formula)}
    assert [plain(reason) for reason in reasons["Full"]] == [
        "can't set yield",
        "sets brew pressure from 4 to 10 bar only",
        "can't end a shot by yield",
    ]


def test_only_machines_in_use_count(bar: Bar) -> None:
    Machine.objects.filter(machine_type=bar.plain).update(machine_type=bar.full)
    assert unable(PRESSED) == []


def test_the_ratio_rounds_half_up_once() -> None:
    assert (
        ratio_words(Formula({"dose_mass": number("18"), "beverage_mass": number("36")}))
        == "1 : 2.00"
    )
    tie = Formula({"dose_mass": number("16"), "beverage_mass": number("33.2")})  # 2.075
    assert str(ratio_of(tie)) == "2.08"
    assert ratio_words(Formula({"dose_mass": number("18")})) == ""


def test_rows_differ_by_value() -> None:
    old = {"dose_mass": number("18.0"), "ends_by": Stated(text="volume")}
    new = {"dose_mass": number("18.00"), "ends_by": Stated(text="mass"), "rise_time": number("3")}
    told = {
        row["label"]: (row["old"], row["new"], row["differs"])
        for row in rows(Formula(old), Formula(new))
    }
    assert told["Shot ends by"] == ("water volume", "yield", True)
    assert not told["Dose"][2]
    assert told["Rise time"][0] is None
    assert told["Rise time"][2]


def test_lot_and_note_are_compared_too(cast: Cast, approved: Version) -> None:
    newer = make_approved(cast, approved.recipe)
    told = {row["label"]: row["differs"] for row in version_rows(approved, newer)}
    assert set(told.values()) == {False}
    newer.note = "Hotter"
    assert [row["label"] for row in version_rows(approved, newer) if row["differs"]] == ["Note"]
