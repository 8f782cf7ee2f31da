"""What a change would do at a station, by its fit; what can't be concluded; and as evidence."""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from recipes.brewing.shot_model.fit import Fit
from recipes.brewing.shot_model.parameters import Setup
from recipes.brewing.shot_model.predict import Compared, Course, Estimate, Predicted
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS
from recipes.modelling.models import ShotFit
from recipes.modelling.nominal import setup_of
from recipes.modelling.pouring import poured
from recipes.modelling.result import ENOUGH, MEASURES, PARAMETER_WORDS, Kept
from stations.metrology.formula import DOSE, TEMPERATURE, WATER, Stated
from web.numbers import rounded
from web.printing import day, number, quantity

WORDS = {
    "time": ("Time", "s"),
    "water": ("Water", "mL"),
    "beverage": ("Yield", "g"),
    "tds": ("TDS", "%"),
    "extraction": ("Extraction yield", "%"),
}
PLACES = {"tds": 2, "extraction": 2}  # one elsewhere
POOR = 4.0  # misfit: the model misses the shots by twice their usual scatter


@dataclass(frozen=True, slots=True)
class Interval:
    """A mean with its 95 % interval."""

    value: Decimal
    low: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity, as it stands, with the change, and the difference."""

    name: str
    label: str
    unit: str
    base: Interval
    changed: Interval
    difference: Interval


@dataclass(frozen=True, slots=True)
class Prediction:
    """The sentences that say how little it may mean, the rows, and both shots over time.

    ``courses`` is None, and there are no rows, while a worker runs the model.
    """

    doubts: list[str]
    rows: list[Row]
    changes: list[str]
    courses: tuple[Course, Course] | None


Pouring = Callable[[Fit, Setup, Setup, float], Predicted | None]


def predict_change(
    kept: Kept,
    formula: Formula,
    wanted: Formula,
    coarser: float = 1.0,
    pour: Pouring = poured,
) -> Prediction:
    """Both shots by the fit, the changed one ground ``coarser`` times as coarse.

    ``pour`` runs the model, here or by a worker. Raises QuantityError naming what makes no shot.
    """
    formula, wanted = at_station(kept, formula), at_station(kept, wanted)
    base, changed = setup_of(formula).setup, setup_of(wanted).setup
    both = pour(kept.fit, base, changed, coarser)
    compared = both.compared if both else []
    rows = [Row(one.name, *WORDS[one.name], *_sides(one)) for one in compared]
    return Prediction(
        doubts(kept, formula, wanted, ground=coarser != 1.0),
        rows,
        changes_of(formula, wanted, coarser),
        (both.base, both.changed) if both else None,
    )


def at_station(kept: Kept, formula: Formula) -> Formula:
    """The formula with the water this station was set to, where it leaves that to the stations."""
    ends = kept.covers.get(WATER)
    if ends is None or not formula.leaves_water:
        return formula
    return formula | {WATER: Stated(sum(ends, Decimal(0)) / 2)}


def _sides(one: Compared) -> tuple[Interval, Interval, Interval]:
    """A difference is known better than either side of it: one more digit."""
    places = PLACES.get(one.name, 1)
    return (
        _interval(one.base, places),
        _interval(one.changed, places),
        _interval(one.difference, places + 1),
    )


def _interval(estimate: Estimate, places: int) -> Interval:
    sides = (estimate.value, estimate.value - estimate.margin, estimate.value + estimate.margin)
    return Interval(*(rounded(side, places) for side in sides))


def changes_of(formula: Formula, wanted: Formula, coarser: float = 1.0) -> list[str]:
    """What differs, in words: 'Brew temperature from 93.0 °C to 92.0 °C'."""
    changes = []
    for code in wanted:
        was, now = (side.of(code).target for side in (formula, wanted))
        if now is not None and was != now:
            unit = PARAMETERS[code].unit
            before = "not stated" if was is None else f"from {quantity(was, unit)}"
            changes.append(f"{PARAMETERS[code].label} {before} to {quantity(now, unit)}")
    if coarser != 1.0:
        share = rounded(abs(100 * (coarser - 1)), 2).normalize()
        changes.append(f"Grind {share:f} % {'coarser' if coarser > 1 else 'finer'}")
    return changes


# What no fit tells of a changed parameter, whatever its shots: it is not in the model.
UNKNOWABLE = {
    TEMPERATURE: (
        "What another temperature does to the taste can't be known here. Of temperature the model"
        " knows that warmer water is thinner, so that it runs faster, and that what dissolves"
        " diffuses faster in it (Stokes and Einstein); which substances dissolve, and how much of"
        " them, it takes to be the same at every temperature.",
        "Drip coffee of equal strength and extraction, brewed at 87, 90 and 93 °C, hardly tasted"
        " different (Batali and others 2020); no source here says so of espresso. A tasting at"
        " your bar answers it.",
    ),
    DOSE: (
        "Another dose leaves another space above it in the basket, and is tamped otherwise: the"
        " model keeps both as they were.",
    ),
}  # fmt: skip


def unknowable(formula: Formula, wanted: Formula) -> list[str]:
    """What the model can't know of this change, fitted or not: said before any figure."""
    changed = [code for code in wanted if wanted[code] != formula.get(code)]
    return [words for code in changed for words in UNKNOWABLE.get(code, ())]


def doubts(kept: Kept, formula: Formula, wanted: Formula, *, ground: bool) -> list[str]:
    """What can't be concluded, in sentences: what the model can't know first, then its shots."""
    changed = [code for code in wanted if wanted[code] != formula.get(code)]
    sentences = [_beyond(kept, code, wanted[code].target) for code in changed]
    if ground:
        sentences.append(
            "Every shot was ground as it was: what another grind does rests on the model"
            " alone, and no grinder's own steps are known."
        )
    return [*unknowable(formula, wanted), *filter(None, sentences), *shortcomings(kept)]


def _beyond(kept: Kept, code: str, target: Decimal | None) -> str:
    """A value no shot of these was pulled at."""
    if target is None:
        return ""
    parameter = PARAMETERS[code]
    low, high = kept.covers.get(code, (None, None))
    if low is None or high is None:
        return f"{parameter.label} was not set in these shots: its effect is the model's alone."
    step = parameter.resolution
    if low - step <= target <= high + step:
        return ""
    name = parameter.label.lower()
    if high - low <= step:
        at = quantity(rounded(float((low + high) / 2), 1), parameter.unit)
        return f"Every shot was pulled at {at} {name}: another one's effect is the model's alone."
    ends = (quantity(rounded(float(end), 1), parameter.unit) for end in (low, high))
    return f"{parameter.label} lies outside these shots, {' to '.join(ends)}: extrapolated."


def shortcomings(kept: Kept) -> list[str]:
    """What the fit itself leaves open."""
    sentences, count = list(kept.assumed), len(kept.shots)
    if count < ENOUGH:
        sentences.append(
            f"Fitted to {count} shots only: with fewer than {ENOUGH} the intervals are"
            " rough, and nothing small can be concluded."
        )
    if kept.held:
        names = ", ".join(PARAMETER_WORDS[name][0].lower() for name in kept.held)
        sentences.append(
            f"These shots can't tell: {names}. Held at what is usual, without uncertainty."
        )
    if "tds" not in kept.spread:
        sentences.append(
            "Too few shots with dissolved solids: strength and extraction are a usual"
            " coffee's, not this one's."
        )
    if kept.fit.misfit > POOR:
        sentences.append(
            "The model misses these shots by more than twice their usual scatter: something"
            " changed between them, or it does not hold here."
        )
    return sentences


# A prediction as evidence of a change request, in words somebody else can check.


def evidence_text(fit: ShotFit, kept: Kept, prediction: Prediction) -> str:
    """What was asked of the model, what it says, and what it can't."""
    station, site = fit.station, fit.station.machine.site
    lines = [
        f"Shot model fitted to {fit.shots} check shots of {fit.version} at {site},"
        f" {station.machine}, station {station.number}"
        f" (fit {fit.pk}, {day(fit.finished_at or fit.asked_at, site.time_zone)}).",
        f"Change: {'; '.join(prediction.changes) or 'none'}.",
        *prediction.doubts,
        *(_line(row) for row in prediction.rows),
        "Intervals are 95 %, by the fit's covariance; the model's own error is not in them.",
        _scatter(kept),
    ]
    return "\n".join(filter(None, lines))


def _line(row: Row) -> str:
    before, after, change = (
        _words(side, row.unit) for side in (row.base, row.changed, row.difference)
    )
    return f"{row.label}: {before} now, {after} then; difference {change}."


def _words(interval: Interval, unit: str) -> str:
    return f"{quantity(interval.value, unit)} ({number(interval.low)} to {number(interval.high)})"


def _scatter(kept: Kept) -> str:
    spreads = [
        f"{label.lower()} {quantity(rounded(kept.spread[name], 1), unit)}"
        for name, _, label, unit in MEASURES
        if name in kept.spread
    ]
    return f"Single shots lie about that with a standard deviation of {', '.join(spreads)}."
