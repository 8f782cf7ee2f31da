"""What a formula says that cannot be, and what is unusual of it: values looked at together.

What is impossible is refused, naming field, value and what is allowed. What is unusual is asked
about before review: a head roaster may mean it, and says why. The source of each limit stands
beside it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from audit.errors import Problem
from recipes.brewing.balances import House, cup_by
from recipes.brewing.errors import QuantityError
from recipes.brewing.plan_check import check_plan
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS, PREINFUSION_TIME, Parameter
from recipes.formula.plan import FIELDS, plan_of
from stations.metrology.formula import BEVERAGE, DOSE, SHOT_TIME, TEMPERATURE, WATER
from stations.metrology.solubles import MOST_SOLUBLE
from web.numbers import rounded
from web.printing import SPACE, quantity
from web.units import step_of

RISE_TIME = "rise_time"

TENTH = Decimal("0.1")  # g: a limit is told rounded down, so that it is one
HEAVIEST = Decimal(1)  # g/mL: no water is heavier (999.975 kg/m3 at 4 °C, IAPWS-95)
# Cafés today brew 15 to 22 g into 30 to 60 g (Cameron et al. 2020, introduction), the shortest
# and longest drinks of the trade go further: common practice, no source.
RATIO = (Decimal(1), Decimal(5))
# Water is studied from 85 to 95 °C (Salamanca 2017, abstract), and taken from 92 to 95 °C by
# tradition (Cameron et al. 2020); a little room on the hot side, no source.
BREWED_AT = (Decimal(85), Decimal(97))  # °C
TIME = (Decimal(15), Decimal(60))  # s; 20 to 30 s by tradition (Cameron 2020), room by practice
# Without a measurement: from a bare puck (references 6.7) to one with much water above it; no
# source, and wide on purpose.
UNMEASURED = (Decimal("0.5"), Decimal("2.5"))  # g/g
WIDE = 5  # times the usual tolerance: common practice, no source


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something unusual: a name that lasts, the fields it rests on, and the question."""

    kind: str
    fields: tuple[str, ...]
    words: str

    def about(self, formula: Formula) -> dict[str, str]:
        """What it rests on, as an answer keeps it: equal numbers give equal text."""
        known = {field: stated_in(formula, field) for field in self.fields}
        return {field: f"{n.normalize():f}" for field, n in known.items() if n is not None}


def stated_in(formula: Formula, field: str) -> Decimal | None:
    """A target by its code, a tolerance by code_below or code_above, as forms name them."""
    if field in PARAMETERS:
        return formula.target(field)
    code, _, side = field.rpartition("_")
    return formula.of(code).numbers[side]


# Impossible.


def impossible(formula: Formula) -> list[Problem]:
    """Every value that the others, or what it is, rule out."""
    found = [_more_than_there_is(formula), _no_time_to_brew(formula)]
    return [each for each in found if each] + list(_beyond_any_value(formula))


def fault_words(problems: Iterable[Problem]) -> list[str]:
    """Each as a page shows it: the field by its label, the value, what is allowed."""
    return [_fault_words(each) for each in problems]


def _fault_words(problem: Problem) -> str:
    code, value = problem.field, Decimal(str(problem.value))
    if code in PARAMETERS:
        label, unit = PARAMETERS[code].label, PARAMETERS[code].unit
    else:
        code, _, side = code.rpartition("_")
        label = f"{PARAMETERS[code].label}, tolerance {side}"
        unit = step_of(PARAMETERS[code].unit)
    return f"{label} {_said(value, unit)}: {problem.allowed}."


def most_in_cup(dose: Decimal, water: Decimal) -> Decimal:
    """The heaviest cup [g] from dose [g] and water [mL]: all the water, all that dissolves."""
    return HEAVIEST * water + MOST_SOLUBLE * dose / 100


def _more_than_there_is(formula: Formula) -> Problem | None:
    dose, water, beverage = (formula.target(code) for code in (DOSE, WATER, BEVERAGE))
    if dose is None or water is None or beverage is None:
        return None
    most = most_in_cup(dose, water)
    if beverage <= most:
        return None
    return Problem(
        BEVERAGE,
        beverage,
        f"at most {_said(most.quantize(TENTH, ROUND_FLOOR), 'g')}: {_said(water, 'mL')} of water"
        f" and the {MOST_SOLUBLE} % of {_said(dose, 'g')} of coffee that can dissolve at most",
    )


def _no_time_to_brew(formula: Formula) -> Problem | None:
    wetting, whole = formula.target(PREINFUSION_TIME), formula.target(SHOT_TIME)
    if wetting is None or whole is None or wetting < whole:
        return None
    words = f"less than the shot time of {_said(whole, 's')}, which it is a part of"
    return Problem(PREINFUSION_TIME, wetting, words)


def _beyond_any_value(formula: Formula) -> Iterator[Problem]:
    """Tolerances that reach where no cup may be: below nothing, to start with."""
    for code, parameter, target in _numbers(formula):
        stated = formula.of(code)
        low, high = parameter.minimum, parameter.maximum
        for side, width, room in (
            ("below", stated.below, target - low),
            ("above", stated.above, high - target),
        ):
            if width is not None and width > room >= 0:
                words = (
                    f"at most {_said(room, step_of(parameter.unit))}, as"
                    f" {parameter.label.lower()} is from {_span(low, high, parameter.unit)}"
                )
                yield Problem(f"{code}_{side}", width, words)


# Unusual.


def doubts(formula: Formula, house: House | None) -> list[Doubt]:
    """What a second look is asked for; ``house`` is what its coffee was measured to keep."""
    found = [
        _ratio(formula),
        _balance(formula, house),
        _beside(formula, TEMPERATURE, BREWED_AT),
        _beside(formula, SHOT_TIME, TIME),
        _stages_fill_it(formula),
    ]
    return [each for each in found if each] + [*_plan(formula), *_wide(formula)]


def _ratio(formula: Formula) -> Doubt | None:
    dose, beverage = formula.target(DOSE), formula.target(BEVERAGE)
    if not dose or beverage is None or RATIO[0] <= beverage / dose <= RATIO[1]:
        return None
    ratio = rounded(float(beverage / dose), 2)
    words = (
        f"{_said(beverage, 'g')} from {_said(dose, 'g')} is 1 : {ratio};"
        f" usual is 1 : {RATIO[0]} to 1 : {RATIO[1]} (common practice)."
    )
    return Doubt("brew_ratio", (DOSE, BEVERAGE), words)


def _balance(formula: Formula, house: House | None) -> Doubt | None:
    """A yield that the water does not give: by what was measured, else by a wide guess."""
    dose, water, beverage = (formula.target(code) for code in (DOSE, WATER, BEVERAGE))
    if not dose or water is None or beverage is None or _more_than_there_is(formula):
        return None
    stated = formula.of(BEVERAGE)
    if house is None:
        kept = (water * HEAVIEST - beverage) / dose
        if UNMEASURED[0] <= kept <= UNMEASURED[1]:
            return None
        why = (
            f"the coffee would keep {_said(rounded(float(kept), 2), 'g/g')}; {UNMEASURED[0]:f} to"
            f" {_said(UNMEASURED[1], 'g/g')} is usual (common practice), and nothing is measured"
            " here yet"
        )
    else:
        cup = cup_by(house, dose=float(dose), water=float(water))
        low, high = (rounded(each, 1) for each in (cup.low, cup.high))
        reaches = beverage + (stated.above or 0) >= low
        if reaches and beverage - (stated.below or 0) <= high:
            return None
        why = f"by what was measured here it gives {_span(low, high, 'g')}"
    words = f"{_said(beverage, 'g')} from {_said(water, 'mL')} on {_said(dose, 'g')}: {why}."
    return Doubt("water_balance", (DOSE, WATER, BEVERAGE), words)


def _beside(formula: Formula, code: str, usual: tuple[Decimal, Decimal]) -> Doubt | None:
    target, parameter = formula.target(code), PARAMETERS[code]
    if target is None or usual[0] <= target <= usual[1]:
        return None
    words = (
        f"{parameter.label} {_said(target, parameter.unit)};"
        f" usual is {_span(*usual, parameter.unit)} (common practice)."
    )
    return Doubt(code, (code,), words)


def _stages_fill_it(formula: Formula) -> Doubt | None:
    wetting, rise, whole = (formula.target(c) for c in (PREINFUSION_TIME, RISE_TIME, SHOT_TIME))
    if not wetting or not rise or whole is None or wetting >= whole or wetting + rise < whole:
        return None
    words = (
        f"Pre-infusion and rise take {_said(wetting + rise, 's')} of a shot of"
        f" {_said(whole, 's')}: none is left at brewing pressure."
    )
    return Doubt("stages_fill_shot", (PREINFUSION_TIME, RISE_TIME, SHOT_TIME), words)


def _plan(formula: Formula) -> Iterator[Doubt]:
    """What is odd about the pressure plan (recipes.brewing.plan_check)."""
    try:
        plan = plan_of(formula)
    except QuantityError:
        return  # half a taper: what is missing is said where gaps are
    found: dict[str, list[str]] = {}  # one question a parameter: its answer is kept by that
    for odd in check_plan(plan) if plan else ():
        if odd.field in formula:  # what isn't stated is the machine's own
            found.setdefault(odd.field, []).append(odd.words)
    for code, words in found.items():
        said = f"{PARAMETERS[code].label}: {'; '.join(words)} (common practice)."
        yield Doubt(f"plan_{code}", tuple(FIELDS), said)


def _wide(formula: Formula) -> Iterator[Doubt]:
    ruled_out = {problem.field for problem in _beyond_any_value(formula)}
    for code, parameter, target in _numbers(formula):
        stated, most = formula.of(code), WIDE * parameter.usual_width
        widest = max(stated.below or Decimal(0), stated.above or Decimal(0))
        sides = {f"{code}_below", f"{code}_above"}
        if most and widest > most and not ruled_out & sides:
            step = step_of(parameter.unit)
            words = (
                f"{parameter.label} {_said(target, parameter.unit)}: a tolerance of"
                f" {_said(widest, step)} lets almost any shot pass; usual is"
                f" {_said(parameter.usual_width, step)} (common practice)."
            )
            yield Doubt(f"wide_{code}", (code, *sorted(sides)), words)


def _numbers(formula: Formula) -> Iterator[tuple[str, Parameter, Decimal]]:
    for code, parameter in PARAMETERS.items():
        target = formula.target(code)
        if parameter.is_number and target is not None:
            yield code, parameter, target


def _span(low: Decimal, high: Decimal, unit: str) -> str:
    least, most = (_said(each, unit) for each in (low, high))
    return f"{least.partition(' ')[0]} to {most}"


def _said(value: Decimal, unit: str) -> str:
    """A number in the unit of whoever reads."""
    return quantity(value, unit).replace(SPACE, " ")
