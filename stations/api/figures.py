"""Computed figures as exact decimals, for the API: rounded once, half-up."""

from decimal import Decimal
from typing import Any

from stations.charting import Charts
from stations.comparing import Sameness
from stations.metrology.capability import Capability
from stations.metrology.charts import Chart
from stations.rounded import rounded

PLACES = 6


def _six(value: float) -> Decimal:
    return rounded(value, PLACES)


def _interval(ends: tuple[float, float] | None) -> dict[str, Decimal] | None:
    return None if ends is None else {"low": _six(ends[0]), "high": _six(ends[1])}


def charted(told: Charts) -> dict[str, Any]:
    """The four charts."""
    baseline = told.baseline
    return {
        "limits_from": {
            "centre": _six(baseline.centre),
            "spread": _six(baseline.sigma),
            "shots": baseline.count,
            "provisional": baseline.provisional,
            "frozen": told.frozen,
        },
        "individuals": _limits(told.individuals),
        "moving_range": told.ranges and _limits(told.ranges),
        "ewma": _limits(told.ewma),
        "cusum_interval": _six(told.cusum.decision),
        "signalling": told.signalling,
        "points": told.lines,
    }


def _limits(chart: Chart) -> dict[str, Decimal]:
    ends = {"lower": chart.lower[-1], "upper": chart.upper[-1], "centre": chart.centre}
    return {name: _six(float(value)) for name, value in ends.items()}


def capable(told: Capability) -> dict[str, Any]:
    """Capability."""
    return {
        "count": told.count,
        "mean": _six(told.mean),
        "spread": _six(told.spread),
        "cp": None if told.cp is None else _six(told.cp),
        "cp_interval": _interval(told.cp_interval),
        "cpk": _six(told.cpk),
        "cpk_interval": _interval(told.cpk_interval),
        "goal": rounded(told.goal, 2),
        "confidence": rounded(told.confidence, 2),
        "conclusion": told.conclusion,
        "shots_needed": told.shots_needed,
        "sentence": told.sentence,
    }


def compared(told: Sameness) -> dict[str, Any]:
    """Two stations."""
    here, there = told.means
    return {
        "mean": here,
        "mean_beside": there,
        "difference": _six(told.told.difference),
        "interval": _interval(told.told.interval),
        "degrees_of_freedom": rounded(told.told.dof, 2),
        "p_value": _six(told.told.p_value),
        "conclusion": told.told.conclusion,
        "shots_needed": told.shots_needed,
    }
