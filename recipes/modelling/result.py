"""What a fit found, as it is kept: plain JSON, every number a decimal string."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import floor, log10
from typing import Any

import numpy as np

from recipes.brewing.shot_model.engine import Floats
from recipes.brewing.shot_model.fit import Fit
from recipes.brewing.shot_model.parameters import Coffee, Puck
from recipes.modelling.models import ShotFit
from stations.metrology.formula import BEVERAGE, SHOT_TIME
from stations.shots.models import CheckShot
from web.charts import Curve, Drawing, Panel, drawing, measure_of
from web.numbers import rounded

DIGITS = 12  # significant ones that are kept
Range = tuple[Decimal, Decimal]


@dataclass(frozen=True)
class Kept:
    """A fit with what it was made of.

    ``held`` are the parameters these shots can't tell; ``spread`` the standard deviation of what
    was measured about what the model says [s, g, %]; ``covers`` the range of each target over the
    shots; ``shots`` their ids and ``made`` what the model says of each (time, beverage, TDS).
    """

    fit: Fit
    held: tuple[str, ...]
    spread: Mapping[str, float]
    covers: Mapping[str, Range]
    shots: Sequence[int]
    made: Floats
    assumed: tuple[str, ...] = ()


def to_json(kept: Kept) -> dict[str, Any]:
    """As the row keeps it."""
    fit = kept.fit
    return {
        "names": list(fit.names),
        "values": _texts(fit.values),
        "covariance": [_texts(row) for row in fit.covariance],
        "dof": fit.dof,
        "misfit": _text(fit.misfit),
        "held": list(kept.held),
        "spread": {name: _text(value) for name, value in kept.spread.items()},
        "covers": {code: [f"{low:f}", f"{high:f}"] for code, (low, high) in kept.covers.items()},
        "shots": list(kept.shots),
        "made": [_texts(row, 6) for row in kept.made],
        "assumed": list(kept.assumed),
    }


def from_json(stored: Mapping[str, Any]) -> Kept:
    """The same again."""
    fit = Fit(
        tuple(stored["names"]), _floats(stored["values"]),
        np.array([_floats(row) for row in stored["covariance"]]), stored["dof"],
        float(stored["misfit"]),
    )  # fmt: skip
    return Kept(
        fit,
        tuple(stored["held"]),
        {name: float(value) for name, value in stored["spread"].items()},
        {code: (Decimal(low), Decimal(high)) for code, (low, high) in stored["covers"].items()},
        stored["shots"],
        np.array([_floats(row) for row in stored["made"]]),
        tuple(stored["assumed"]),
    )


def _text(value: float, digits: int = DIGITS) -> str:
    return f"{float(value):.{digits}g}"


def _texts(values: Iterable[float], digits: int = DIGITS) -> list[str]:
    return [_text(value, digits) for value in values]


def _floats(texts: Iterable[str]) -> Floats:
    return np.array([float(text) for text in texts])


# A fit as its page shows it: parameters, and measured against modelled.

PARAMETER_WORDS = {
    "grind": ("Grind, as the width of its pores", "µm"),
    "absorbs": ("Water the grounds keep", "g/g"),
    "slow_rate": ("Slow extraction, at the model's reference temperature", "1/s"),
    "opening": ("Opening as solids leave", "1"),
}
ENOUGH = 20  # shots; before, a spread is rough: common practice, no source
# Name, label, unit and places of what is measured, in the order of ENDS.
MEASURES = (
    ("time", SHOT_TIME, "Time", "s"),
    ("beverage", BEVERAGE, "Yield", "g"),
    ("tds", "strength", "TDS", "%"),
)


@dataclass(frozen=True, slots=True)
class Parameter:
    """One fitted parameter with its standard uncertainty; None where it was held."""

    label: str
    unit: str
    value: Decimal
    uncertainty: Decimal | None


@dataclass(frozen=True, slots=True)
class Pair:
    """One quantity of a shot: as measured, and as the model says."""

    label: str
    unit: str
    measured: Decimal | None
    made: Decimal


@dataclass(frozen=True, slots=True)
class ModelledShot:
    """One shot of the table."""

    shot: CheckShot
    pairs: tuple[Pair, ...]


@dataclass(frozen=True, slots=True)
class Shown:
    """Everything the page says about a fit."""

    fit: ShotFit
    kept: Kept
    parameters: list[Parameter]
    spreads: list[Pair]
    lines: list[ModelledShot]
    drawing: Drawing
    rough: bool


def shown_fit(fit: ShotFit) -> Shown:
    """Read what was kept, and the shots beside it: one query."""
    kept = from_json(fit.result)
    shots = CheckShot.objects.in_bulk(list(kept.shots))
    lines = [_line(shots[pk], row) for pk, row in zip(kept.shots, kept.made, strict=True)]
    spreads = [
        Pair(label, unit, None, rounded(kept.spread[name], 2))
        for name, _, label, unit in MEASURES
        if name in kept.spread
    ]
    rough = len(lines) < ENOUGH
    return Shown(fit, kept, parameters(kept), spreads, lines[::-1], _drawn(lines), rough)


def parameters(kept: Kept) -> list[Parameter]:
    """Fitted ones first, to two digits of their uncertainty; then the held ones."""
    rows = []
    errors = kept.fit.standard_errors
    for name, value, error in zip(kept.fit.names, kept.fit.values, errors, strict=True):
        places = max(0, 1 - floor(log10(error))) if error > 0 else 4
        numbers = (rounded(value, places), rounded(error, places))
        rows.append(Parameter(*PARAMETER_WORDS[name], *numbers))
    for name in kept.held:
        value = getattr(Puck() if hasattr(Puck(), name) else Coffee(), name)
        rows.append(Parameter(*PARAMETER_WORDS[name], rounded(value, 3), None))
    return rows


def _line(shot: CheckShot, row: Sequence[float]) -> ModelledShot:
    pairs = [
        Pair(label, unit, getattr(shot, field), rounded(value, 2 if name == "tds" else 1))
        for (name, field, label, unit), value in zip(MEASURES, row, strict=True)
    ]
    return ModelledShot(shot, tuple(pairs))


def _drawn(lines: Sequence[ModelledShot]) -> Drawing:
    panels, words = [], []
    for at, (_, _, label, unit) in enumerate(MEASURES):
        pairs = [(float(no), line.pairs[at]) for no, line in enumerate(lines, 1)]
        measure = measure_of(unit)
        taken = [
            (no, measure.at(float(pair.measured)))
            for no, pair in pairs
            if pair.measured is not None
        ]
        if not taken:
            continue
        xs, ys = zip(*taken, strict=True)
        numbers, says = zip(
            *((no, measure.at(float(pair.made))) for no, pair in pairs), strict=True
        )
        made = Curve("modelled", numbers, says)
        curves = (made, Curve("measured", xs, ys, joined=False))
        title = f"{label.lower()} / {measure.unit}"
        panels.append(Panel(title, "shot", curves, counted=True, height=110))
        words.append(f"{label.lower()} measured from {min(ys):g} to {max(ys):g} {measure.unit}")
    return drawing(panels, f"{len(lines)} shots, oldest first: {'; '.join(words)}; each beside what"
                   " the fitted model says.")  # fmt: skip
