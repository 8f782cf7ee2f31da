"""The model run for a prediction: by a worker, once for the same content, whichever page asks next.

A page answers without it and looks again; where no worker comes in time, the page runs it itself.
"""

import hashlib
import time
from dataclasses import dataclass

from celery import current_app

from audit.quick import quick
from recipes.brewing.errors import QuantityError
from recipes.brewing.shot_model.fit import Fit
from recipes.brewing.shot_model.parameters import Setup
from recipes.brewing.shot_model.predict import Predicted, predict_courses

REMEMBERED = 3600  # s; what a new release would pour otherwise is poured anew by then
PATIENCE = 5.0  # s for a worker


@dataclass(frozen=True)
class Asked:
    """What is to be poured, and when [s since the epoch] it was asked for."""

    at: float
    fit: Fit
    base: Setup
    changed: Setup
    coarser: float


@dataclass(frozen=True, slots=True)
class Impossible:
    """That no shot comes of it, and why: remembered as well."""

    field: str
    allowed: str


def poured(fit: Fit, base: Setup, changed: Setup, coarser: float) -> Predicted:
    """Both shots by the fit, now or as remembered. Raises QuantityError."""
    asked = Asked(time.time(), fit, base, changed, coarser)
    return _remembered(_digest(asked)) or _pour(asked)


def poured_by_worker(fit: Fit, base: Setup, changed: Setup, coarser: float) -> Predicted | None:
    """The same where it is remembered; None while a worker is at it. Raises QuantityError."""
    asked = Asked(time.time(), fit, base, changed, coarser)
    digest = _digest(asked)
    if (found := _remembered(digest)) is not None:
        return found
    before = quick.get(f"to-pour:{digest}")
    if not isinstance(before, Asked):
        quick.set(f"to-pour:{digest}", asked, REMEMBERED)
        if quick.get(f"to-pour:{digest}") is None:
            return _pour(asked)  # nothing can be kept, so that no worker would find it
        start(digest)
        return _remembered(digest)
    return _pour(asked) if asked.at - before.at > PATIENCE else None


def start(digest: str) -> None:
    """Hand it to the workers, by name since their module imports this package."""
    current_app.send_task("recipes.tasks.pour", [digest])


def pour(digest: str) -> bool:
    """What a worker does; whether there was something to pour. Twice is no harm."""
    asked = quick.get(f"to-pour:{digest}")
    if not isinstance(asked, Asked):
        return False
    try:
        _pour(asked)
    except QuantityError:
        return False  # remembered, and said by the page
    return True


def _pour(asked: Asked) -> Predicted:
    key = f"poured:{_digest(asked)}"
    try:
        made = predict_courses(asked.fit, asked.base, asked.changed, coarser=asked.coarser)
    except QuantityError as error:
        quick.set(key, Impossible(error.field, error.allowed), REMEMBERED)
        raise
    quick.set(key, made, REMEMBERED)
    return made


def _remembered(digest: str) -> Predicted | None:
    found = quick.get(f"poured:{digest}")
    if isinstance(found, Impossible):
        raise QuantityError(found.field, None, found.allowed)
    return found if isinstance(found, Predicted) else None


def _digest(asked: Asked) -> str:
    """Of everything the shots follow from."""
    fit = asked.fit
    numbers = (fit.names, fit.values.tolist(), fit.covariance.tolist(), fit.dof)
    told = repr((numbers, asked.base, asked.changed, asked.coarser))
    return hashlib.sha256(told.encode()).hexdigest()
