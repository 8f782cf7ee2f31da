"""The model run for a prediction: once for the same content, whichever process asks next."""

import hashlib

from django.core.cache import caches

from recipes.brewing.shot_model.fit import Fit
from recipes.brewing.shot_model.parameters import Setup
from recipes.brewing.shot_model.predict import Predicted, predict_courses

REMEMBERED = 3600  # s; what a new release would pour otherwise is poured anew by then


def poured(fit: Fit, base: Setup, changed: Setup, coarser: float) -> Predicted:
    """Both shots by the fit, remembered by everything they follow from. Raises QuantityError."""
    key = _key(fit, base, changed, coarser)
    found = caches["quick"].get(key)
    if isinstance(found, Predicted):
        return found
    made = predict_courses(fit, base, changed, coarser=coarser)
    caches["quick"].set(key, made, REMEMBERED)
    return made


def _key(fit: Fit, base: Setup, changed: Setup, coarser: float) -> str:
    numbers = (fit.names, fit.values.tolist(), fit.covariance.tolist(), fit.dof)
    told = repr((numbers, base, changed, coarser))
    return f"poured:{hashlib.sha256(told.encode()).hexdigest()}"
