"""What a fit found, as it is kept: plain JSON, every number a decimal string."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np

from recipes.brewing.shot_model.engine import Floats
from recipes.brewing.shot_model.fit import Fit

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


def from_json(told: Mapping[str, Any]) -> Kept:
    """The same again."""
    fit = Fit(
        tuple(told["names"]), _floats(told["values"]),
        np.array([_floats(row) for row in told["covariance"]]), told["dof"], float(told["misfit"]),
    )  # fmt: skip
    return Kept(
        fit,
        tuple(told["held"]),
        {name: float(value) for name, value in told["spread"].items()},
        {code: (Decimal(low), Decimal(high)) for code, (low, high) in told["covers"].items()},
        told["shots"],
        np.array([_floats(row) for row in told["made"]]),
        tuple(told["assumed"]),
    )


def _text(value: float, digits: int = DIGITS) -> str:
    return f"{float(value):.{digits}g}"


def _texts(values: Iterable[float], digits: int = DIGITS) -> list[str]:
    return [_text(value, digits) for value in values]


def _floats(texts: Iterable[str]) -> Floats:
    return np.array([float(text) for text in texts])
