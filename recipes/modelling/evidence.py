"""A prediction as evidence of a change request, in words somebody else can check."""

from recipes.modelling.models import ShotFit
from recipes.modelling.prediction import Interval, Prediction, Row
from recipes.modelling.result import MEASURES, Kept
from web.numbers import rounded
from web.printing import day, number, quantity


def evidence_text(fit: ShotFit, kept: Kept, prediction: Prediction) -> str:
    """What was asked of the model, what it says, and what it can't."""
    station, site = fit.station, fit.station.machine.site
    lines = [
        f"Shot model fitted to {fit.shots} check shots of {fit.version} at {site},"
        f" {station.machine}, station {station.number}"
        f" (fit {fit.pk}, {day(fit.finished_at or fit.asked_at, site.time_zone)}).",
        f"Change: {'; '.join(prediction.changes) or 'none'}.",
        *(_line(row) for row in prediction.rows),
        "Intervals are 95 %, by the fit's covariance; the model's own error is not in them.",
        _scatter(kept),
        *prediction.doubts,
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
