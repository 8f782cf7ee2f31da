"""How exactly a slot delivers the water its recipe asks for, line by line."""

from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from people.verbs import Verb
from people.web.pages import PageRequest, one_or_404, page_for
from recipes.holding import version_in_force
from recipes.models import FormulaValue, Version
from stations.drawing import budget_drawing
from stations.metrology.budget import VolumeBudget, volume_budget
from stations.models import Calibration, Slot, Station

PLACES = Decimal("0.001")


@page_for(Verb.SLOT_VIEW)
def delivery(request: PageRequest, pk: int) -> HttpResponse:
    """The uncertainty budget of the water volume at one slot."""
    slot = one_or_404(Slot.objects.covered_by(request.user).with_equipment(), pk)
    version = version_in_force(slot)
    water = _water(version)
    context: dict[str, Any] = {
        "slot": slot,
        "site": slot.station.machine.site,
        "version": version,
        "water": water,
        "station": slot.station,
    }
    if water is not None and slot.station.pulses_per_millilitre is not None:
        context |= _budget(slot.station, water)
    return render(request, "recipes/delivery.html", context)


def _water(version: Version | None) -> FormulaValue | None:
    if version is None:
        return None
    return version.formula.filter(code="water_volume", target__isnull=False).first()


def _budget(station: Station, water: FormulaValue) -> dict[str, Any]:
    newest = station.calibrations.filter(kind=Calibration.Kind.FLOW_METER, state="accepted").first()
    budget = volume_budget(
        water.target or Decimal(0),
        station.pulses_per_millilitre or Decimal(0),
        slope_uncertainty=station.slope_uncertainty or Decimal(0),
        repeatability=station.repeatability or Decimal(0),
        dof=newest.dof if newest and station.slope_uncertainty is not None else None,
    )
    return {
        "budget": budget,
        "lines": [
            (line, _mL(line.standard_uncertainty), f"{line.share:.0%}".replace("%", " %"))
            for line in budget.lines
        ],
        "combined": _mL(budget.combined),
        "expanded": _mL(budget.expanded),
        "deviation": _mL(budget.deviation),
        "coverage": f"{budget.coverage:.1%}".replace("%", " %"),
        "chart": budget_drawing(budget),
        "fits": _fits(budget, water),
        "calibrated": station.slope_uncertainty is not None,
    }


def _mL(value: float) -> Decimal:  # noqa: N802 - the unit's own spelling
    return Decimal(value).quantize(PLACES, ROUND_HALF_UP)


def _fits(budget: VolumeBudget, water: FormulaValue) -> bool | None:
    """None where the recipe states no tolerance on both sides."""
    if water.below is None or water.above is None:
        return None
    return budget.fits(water.below, water.above)
