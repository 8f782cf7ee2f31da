"""Out of tolerance: what is now, the dots of some days, and whether all bars pour the recipe."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from people.persons.verbs import Verb
from recipes.coffees.models import Recipe
from recipes.tolerance.drawing import group_drawing
from recipes.tolerance.sameness import sameness
from recipes.tolerance.week import Group, Span, groups_of
from stations.equipment.forms import SiteFilter
from stations.equipment.models import Site
from stations.metrology.formula import BEVERAGE
from stations.shots.judging import BOUNDS, LABELS
from stations.shots.models import CheckShot
from stations.shots.outside import outside_by_site
from web.pages import PageRequest, page, require_for_page
from web.paging import keyset

SITES = 8  # of one window
DRAWN = 6  # groups of one window that are drawn; the table has all
MOST = 40  # bars listed as out now
DAYS = {"1": "One day", "7": "A week", "28": "Four weeks"}
TOO_EARLY = date(2000, 1, 1)


class ToleranceFilter(SiteFilter):
    """Which bars and recipe, which value, and which days."""

    recipe = forms.ModelChoiceField(
        Recipe.objects.select_related("coffee"), required=False, empty_label="Any"
    )
    value = forms.ChoiceField(choices=list(LABELS.items()), required=False, initial=BEVERAGE)
    by = forms.ChoiceField(
        label="One chart for each", choices=[("", "Bar"), ("station", "Station")], required=False
    )
    days = forms.ChoiceField(choices=list(DAYS.items()), required=False, initial="7")
    until = forms.DateField(
        label="Up to (day)", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )

    def __init__(self, asked: Any) -> None:  # noqa: ANN401
        """What the address leaves out is as usual: yield, a week."""
        super().__init__(
            {"value": BEVERAGE, "days": "7"} | {k: asked[k] for k in asked if asked[k]}
        )

    def clean_until(self) -> date:
        """Today where nothing is said."""
        until: date | None = self.cleaned_data["until"]
        today = timezone.now().date()
        if until and not TOO_EARLY <= until <= today + timedelta(days=1):
            raise forms.ValidationError(
                f"Up to (day): “{until}” can't be used. Allowed: a day from {TOO_EARLY} to today."
            )
        return until or today

    @property
    def span(self) -> Span:
        """The days."""
        return Span(self.cleaned_data["until"], int(self.cleaned_data["days"]))


@page()
def tolerance(request: PageRequest) -> HttpResponse:
    """Which bars pull out of tolerance: now, and over some days."""
    require_for_page(request, Verb.SLOT_VIEW)
    form = ToleranceFilter(request.GET)
    if not form.is_valid():
        return render(request, "recipes/tolerance/tolerance.html", {"form": form}, status=400)
    asked = form.cleaned_data
    sites = Site.objects.covered_by(request.user, Verb.SLOT_VIEW)
    shots = CheckShot.objects.covered_by(request.user)
    if asked["q"]:
        sites = sites.filter(name__icontains=asked["q"])
        shots = shots.filter(site__name__icontains=asked["q"])
    shown = keyset(sites, "name", request.GET, size=SITES)
    by_station = bool(asked["by"])
    groups = groups_of(
        shown.rows, form.span, asked["value"], recipe=asked["recipe"], by_station=by_station
    )
    now = outside_by_site(shots)
    context = {
        "form": form,
        "page": shown,
        "span": form.span,
        "now": now[:MOST],
        "more": len(now) > MOST,
        "groups": groups,
        "drawings": _drawings(groups, form),
        "label": LABELS[asked["value"]],
        "unit": BOUNDS[asked["value"]].unit,
        "recipe": asked["recipe"],
        "same": _same(request, form) if asked["recipe"] else None,
    }
    return render(request, "recipes/tolerance/tolerance.html", context)


def _drawings(groups: list[Group], form: ToleranceFilter) -> list[Any]:
    """Those with the most shots out, in the order of the table."""
    worst = sorted(groups, key=lambda one: -one.out)[:DRAWN]
    code = form.cleaned_data["value"]
    return [group_drawing(one, form.span, code) for one in groups if one in worst]


def _same(request: PageRequest, form: ToleranceFilter) -> Any:  # noqa: ANN401
    """All bars over the days, by the same instants for all."""
    asked, span = form.cleaned_data, form.span
    since, until = (
        datetime.combine(day, time(), UTC) for day in (span.first, span.last + timedelta(days=1))
    )
    return sameness(request.user, asked["recipe"], asked["value"], since, until)
