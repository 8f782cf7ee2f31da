"""What is advised, in words short enough to be read over a queue."""

from dataclasses import dataclass, replace
from decimal import Decimal

from stations.advice.gathering import Advised
from stations.metrology.advising import Advice, Do, Why
from stations.metrology.answering import Estimate
from stations.metrology.formula import BEVERAGE, DOSE, SHOT_TIME
from stations.shots.judging import BOUNDS, LABELS, cup_of
from web.charts import measure_of
from web.numbers import rounded
from web.printing import SPACE, counted, number, quantity, unit_label
from web.units import chosen

SLOW = 2  # times its target: hardly anything came through
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
UNTRIED = "How far a mark goes here is not known yet: the next shot tells."
AGED = {
    "resting": "Its lot still rests: cups change by themselves until it has.",
    "past": "Its lot is past its window: a fresher bag comes first.",
}
PRESSED = "It hardly ran: never unlock the group before the pressure is off."


@dataclass(frozen=True, slots=True)
class Told:
    """The verdict and what to do in a line each, by how much, and on what that rests."""

    verdict: str
    do: str
    detail: str = ""
    asks: bool = False


def tell(advised: Advised) -> Told:
    """The sentences."""
    detail = " ".join(filter(None, [_by_how_much(advised), _slowly(advised), _aged(advised)]))
    return Told(_verdict(advised), _do(advised), detail, advised.advice.do is Do.ASK)


def _do(advised: Advised) -> str:
    match advised.advice.do:
        case Do.LEAVE:
            return "Good, leave it."
        case Do.AGAIN:
            return f"Pull again. {_again(advised)}"
        case Do.GRIND:
            return _grind(advised)
        case Do.DOSE:
            return f"Dose {_grams(advised)}."
        case Do.ASK:
            return f"Ask for a change: {_ask(advised)}."


def _verdict(advised: Advised) -> str:
    """Every value that is out, in one line."""
    cup, shot = cup_of(advised.shot.placement), advised.shot
    out = [
        f"{LABELS[code].lower()} {_said(getattr(shot, code), code)} too {side}"
        f" (target {_target(cup[code]['target'], code)})"
        for code in LABELS
        if (side := shot.verdicts.get(code)) in ("low", "high")
    ]
    sentence = ", ".join(out)
    return f"{sentence[:1].upper()}{sentence[1:]}." if out else "Within tolerance."


def _target(value: str, code: str) -> str:
    """Without its unit, which has just been said."""
    return _said(Decimal(value), code).removesuffix(f" {BOUNDS[code].unit}")


def _again(advised: Advised) -> str:
    advice, cup = advised.advice, cup_of(advised.shot.placement)
    other = BEVERAGE if advised.code == SHOT_TIME else SHOT_TIME
    if advice.why is Why.DOSE_OFF:
        return f"Weigh {_said(Decimal(cup[DOSE]['target']), DOSE)} in."
    if advice.why is Why.ENDED_OFF:
        return f"Aim to end it at {_said(Decimal(cup[other]['target']), other)}."
    if advice.why is Why.ONE_IS_NO_TREND:
        return "One shot is no trend."
    return "It is nearer than the grinder can be moved."


def _grind(advised: Advised) -> str:
    finer = advised.marks_finer
    way = "finer" if finer > 0 else "coarser"
    if advised.shot.grinder is None:
        return f"Grind a little {way}."
    setting = advised.new_setting
    at = f": set it to {number(setting)}" if setting is not None else ""
    return f"Grind {_marks(abs(finer))} {way}{at}."


def _marks(marks: Decimal) -> str:
    if marks == marks.to_integral_value() and marks < len(NUMBERS):
        return f"{NUMBERS[int(marks)]} {'mark' if marks == 1 else 'marks'}"
    return "half a mark" if marks == Decimal("0.5") else f"{number(marks)} marks"


def _grams(advised: Advised) -> str:
    target = Decimal(cup_of(advised.shot.placement)[DOSE]["target"])
    return _said(target + rounded(advised.advice.grams, 1), DOSE)


def _said(value: Decimal, code: str) -> str:
    """With its unit, as whoever reads it has it."""
    return quantity(value, BOUNDS[code].unit).replace(SPACE, " ")


def _ask(advised: Advised) -> str:
    advice = advised.advice
    response = LABELS[advised.code].lower()
    if advice.why is Why.ENDS_OFF:
        much = "too much" if advice.side > 0 else "too little"
        return f"the machine ended it at {much}, twice in a row"
    if advice.why is Why.TOO_FAR:
        return f"the {response} is farther off than a grinder should be moved"
    if advice.why is Why.UNMOVED:
        return f"the {response} hardly answers to the grind here"
    return f"it is within tolerance and tasted off in {advice.shots} of the last three"


def _by_how_much(advised: Advised) -> str:
    """About how much it will do, between what and what, and who says so."""
    advice = advised.advice
    if advice.why is Why.UNTRIED:
        known = advised.shot.grinder is not None
        return UNTRIED if known else "No grinder is entered for this station."
    if advice.effect is None:
        return ""
    effect, unit = _in_units(advice.effect, advised.code)
    more = "longer" if advised.code == SHOT_TIME else "more"
    less = "shorter" if advised.code == SHOT_TIME else "less"
    way = more if effect.value > 0 else less
    between = _between(effect, way, unit)
    return f"About {_one(abs(effect.value))} {unit} {way}, {between}; {_basis(advice)}."


def _in_units(effect: Estimate, code: str) -> tuple[Estimate, str]:
    """An effect on a time or mass, in the units of whoever reads it."""
    unit = BOUNDS[code].unit
    measure = measure_of(unit)
    value, low, high = (measure.step(one) for one in (effect.value, effect.low, effect.high))
    return replace(effect, value=value, low=low, high=high), unit_label(chosen().typed_in(unit))


def _between(effect: Estimate, way: str, unit: str) -> str:
    """The interval as it is said; where it reaches beyond nothing, that too."""
    ends = sorted((effect.low, effect.high), key=abs)
    if effect.low * effect.high <= 0:
        return f"between nothing and {_one(abs(ends[1]))} {unit}"
    return f"between {_one(abs(ends[0]))} and {_one(abs(ends[1]))} {unit}"


def _basis(advice: Advice) -> str:
    if not advice.shots:
        return "by the shot model, since too few shots here tell"
    aside = f", {counted(advice.aside, 'other')} set aside" if advice.aside else ""
    return f"from {counted(advice.shots, 'shot')} here{aside}"


def _one(value: float) -> str:
    """One decimal place below ten, none from there on; of parts of an ounce, more."""
    return number(rounded(value, 0 if value >= 10 else 1 if value >= 0.1 or not value else 3))


def _aged(advised: Advised) -> str:
    """Before anything is changed for a lot that is not in its window: that may be all it is."""
    changing = advised.advice.do in (Do.GRIND, Do.DOSE, Do.ASK)
    return AGED.get(advised.shot.outside_window, "") if changing else ""


def _slowly(advised: Advised) -> str:
    held = cup_of(advised.shot.placement).get(SHOT_TIME, {})
    slow = "target" in held and advised.shot.shot_time > SLOW * Decimal(held["target"])
    return PRESSED if slow else ""
