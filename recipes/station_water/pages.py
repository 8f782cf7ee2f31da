"""How much water a station needs for a beverage mass."""

from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django import forms
from django.http import HttpResponse
from django.shortcuts import render

from people.persons.verbs import Verb
from people.policy.models import Policy
from recipes.brewing.balance import FEWEST_SHOTS
from recipes.formula.formula import target_bounds
from recipes.formula.parameters import PARAMETERS
from recipes.retention.learning import balance_of
from recipes.station_water.budget import cup_budget, settings_of, taper_of
from recipes.station_water.now import water_now, waters_now
from recipes.versions.holding import version_in_force
from recipes.versions.models import Version
from stations.calibrations.drawing import budget_drawing
from stations.calibrations.models import Calibration
from stations.charts.lineage import contents_of
from stations.equipment.models import Slot, Station
from stations.metrology.budget import VolumeBudget, volume_budget
from stations.metrology.formula import BASKET, BEVERAGE, DOSE, WATER, Stated
from stations.slots.models import Placement
from web.fields import PlainDecimalField
from web.form_pages import status_of
from web.lookup import one_or_404
from web.pages import PageRequest, page


class BeverageForm(forms.Form):
    """Which yield, from how much coffee."""

    dose = PlainDecimalField(
        label="Dose", bounds=target_bounds(PARAMETERS[DOSE]), initial=Decimal(18)
    )
    beverage = PlainDecimalField(
        label="Yield", bounds=target_bounds(PARAMETERS[BEVERAGE]), initial=Decimal(36)
    )
    basket = forms.ChoiceField(required=False)

    def __init__(self, *args: Any, baskets: Sequence[str]) -> None:  # noqa: ANN401
        super().__init__(*args)
        field = self.fields["basket"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "any"), *((name, name) for name in baskets)]


def baskets_at(station: Station) -> list[str]:
    """Those named by the recipes that the station poured of late."""
    poured = Version.objects.filter(content_digest__in=list(contents_of(station)))
    whole, varied = (
        poured.filter(**{f"{rows}__code": BASKET})
        .order_by()
        .values_list(f"{rows}__text", flat=True)
        for rows in ("formula", "variant_values")
    )
    return sorted(whole.union(varied))


@page(Verb.EQUIPMENT_VIEW)
def beverage(request: PageRequest, pk: int) -> HttpResponse:
    """Retained liquid, learnt from the station's shots, and what follows from it."""
    station = one_or_404(Station.objects.covered_by(request.user).with_equipment(), pk)
    asked_for = request.GET or {"dose": "18", "beverage": "36"}
    form = BeverageForm(asked_for, baskets=baskets_at(station))
    context: dict[str, object] = {
        "station": station, "site": station.machine.site, "form": form,
    }  # fmt: skip
    if form.is_valid():
        asked = form.cleaned_data
        context["balance"] = balance_of(station, asked["dose"], asked["beverage"], asked["basket"])
        context["fewest"] = FEWEST_SHOTS
    context["waters"] = waters_now(
        station, refuse_above_boiling=Policy.current().refuses_above_boiling
    )
    return render(request, "recipes/station_water/beverage.html", context, status=status_of(form))


# How exactly a slot delivers the water its recipe asks for, line by line.

PLACES = Decimal("0.001")


@page(Verb.SLOT_VIEW)
def delivery(request: PageRequest, pk: int) -> HttpResponse:
    """The uncertainty budget of the water at one slot, and what it is set to otherwise."""
    slot = one_or_404(Slot.objects.covered_by(request.user).with_equipment(), pk)
    version = version_in_force(slot)
    placement = Placement.objects.in_force().select_related("settings").filter(slot=slot).first()
    context: dict[str, Any] = {
        "slot": slot,
        "site": slot.station.machine.site,
        "version": version,
        "station": slot.station,
    }
    if version is not None and placement is not None:
        context |= _delivered(slot.station, version, placement)
    return render(request, "recipes/station_water/delivery.html", context)


def _delivered(station: Station, version: Version, placement: Placement) -> dict[str, Any]:
    formula = version.stated_for(placement.settings.variant_id)
    stated, own = formula.of(WATER), None
    if stated.target is None:
        refuse = Policy.current().refuses_above_boiling
        own = water_now(placement, station, refuse_above_boiling=refuse)
    context: dict[str, Any] = {
        "water": stated if stated.target is not None else None,
        "own": own,
        "settings": settings_of(formula, placement, station),
        "taper": taper_of(placement),
    }
    target = stated.target or (own.exact if own else None)
    if target is None or station.pulses_per_millilitre is None:
        return context
    # Held against what the slot is set to, not what it would be set to by the value of now.
    budget = _budget(station, target, _pulses(placement) if stated.target else None)
    context |= _shown(budget) | {"calibrated": station.slope_uncertainty is not None}
    if stated.target is not None:
        return context | {"fits": _fits(budget, stated)}
    cup = formula.of(BEVERAGE)
    return context | {"cup": cup, "cup_budget": cup_budget(station, formula, budget)}


def _pulses(placement: Placement) -> int | None:
    """What the slot's water ends at; None where something else ends it."""
    held = placement.settings.values.get(WATER)
    return int(Decimal(held["value"])) if held else None


def _budget(station: Station, water: Decimal, pulses: int | None) -> VolumeBudget:
    newest = station.calibrations.filter(kind=Calibration.Kind.FLOW_METER, state="accepted").first()
    return volume_budget(
        water,
        station.pulses_per_millilitre or Decimal(0),
        slope_uncertainty=station.slope_uncertainty or Decimal(0),
        repeatability=station.repeatability or Decimal(0),
        dof=newest.dof if newest and station.slope_uncertainty is not None else None,
        pulses=pulses,
    )


def _shown(budget: VolumeBudget) -> dict[str, Any]:
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
    }


def _mL(value: float) -> Decimal:  # noqa: N802 - the unit's own spelling
    return Decimal(value).quantize(PLACES, ROUND_HALF_UP)


def _fits(budget: VolumeBudget, water: Stated) -> bool | None:
    """None where the recipe states no tolerance on both sides."""
    if water.below is None or water.above is None:
        return None
    return budget.fits(water.below, water.above)
