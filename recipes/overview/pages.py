"""Pages over several matters: home, a parameter over time, a slot overwritten, a year of a site."""

import calendar
from zoneinfo import ZoneInfo

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.timezone import localdate

from audit.errors import Invalid
from audit.registry import registry
from people.persons.permissions import covered_sites, may
from people.persons.verbs import Verb
from recipes.coffees.models import Recipe
from recipes.formula.parameters import PARAMETERS
from recipes.overview.drawing import over_time_drawing, year_drawing
from recipes.overview.first_steps import first_steps
from recipes.overview.home import sites_of, work_lists
from recipes.overview.spans import over_time
from recipes.overview.yearly import MONTHS, year_of, years_of
from stations.equipment.models import Site
from stations.metrology.formula import TEMPERATURE
from stations.slots.overwritten import acted_within, roles_there, window_of
from stations.slots.pages import covered_holding
from stations.today.day import day_of
from web.form_pages import cleaned
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page

FIRST = TEMPERATURE


@page()
def home(request: PageRequest) -> HttpResponse:
    """What the bars where they work need today; then work lists, and the names of empty ones."""
    day = day_of(request.user)
    desk = may(request.user, Verb.RECIPE_DRAFT) or may(request.user, Verb.HISTORY_VIEW)
    at_bars = bool(day.sites)
    lists = work_lists(request.user, told=at_bars and not desk)
    context = {
        "day": day,
        "at_bars": at_bars,
        "steps": first_steps(request.user),
        "lists": [one for one in lists if one.items],
        "quiet": [one.title for one in lists if not one.items] if desk or not at_bars else [],
        "sites": sites_of(request.user) if desk or not at_bars else [],
        "may_read_history": may(request.user, Verb.HISTORY_VIEW),
    }
    return render(request, "recipes/overview/home.html", context)


class ParameterForm(forms.Form):
    """Which parameter."""

    parameter = forms.ChoiceField(
        label="Parameter",
        choices=[(one.code, one.label) for one in PARAMETERS.values()],
        error_messages={"invalid_choice": "“%(value)s” is no parameter: choose one of the list."},
    )


@page(Verb.RECIPE_HISTORY)
def parameter_over_time(request: PageRequest, pk: int) -> HttpResponse:
    """Versions, sites and permits: as a chart and as tables."""
    recipe = one_or_404(Recipe.objects.select_related("coffee"), pk)
    form = ParameterForm({"parameter": request.GET.get("parameter", FIRST)})
    parameter = PARAMETERS[cleaned(form)["parameter"]]
    sites = covered_sites(request.user, Verb.RECIPE_HISTORY)
    history = over_time(recipe, parameter, sites, timezone.now())
    context = {
        "recipe": recipe,
        "form": form,
        "parameter": parameter,
        "history": history,
        "picture": None if history.empty else over_time_drawing(history),
    }
    return render(request, "recipes/overview/over_time.html", context)


@page()
def overwritten(request: PageRequest, pk: int) -> HttpResponse:
    """The window, who acted near the slot in it, and for owners who has a role there."""
    slot = covered_holding(request, pk).slot
    site = slot.station.machine.site
    require_for_page(request, Verb.RECIPE_HISTORY, site.pk)
    whole = may(request.user, Verb.HISTORY_VIEW, site.pk)
    window = window_of(slot)
    context: dict[str, object] = {"slot": slot, "site": site, "window": window, "whole": whole}
    if window:
        tables = None if whole else frozenset(registry.matters)
        context["acted"] = acted_within(slot, window, tables)
        context["roles"] = roles_there(slot, window.end) if whole else None
    return render(request, "recipes/overview/overwritten.html", context)


@page()
def year(request: PageRequest, pk: int) -> HttpResponse:
    """What was done, refused, placed, permitted and asked for there, month by month."""
    site = one_or_404(Site.objects.covered_by(request.user), pk=pk)
    require_for_page(request, Verb.HISTORY_VIEW, site.pk)
    years = years_of(localdate(timezone=ZoneInfo(site.time_zone)))
    shown = year_of(site, _asked(request, years))
    context = {
        "site": site,
        "year": shown,
        "years": years,
        "months": [calendar.month_abbr[month] for month in MONTHS],
        "picture": None if shown.empty else year_drawing(shown),
    }
    return render(request, "recipes/overview/year.html", context)


def _asked(request: PageRequest, years: list[int]) -> int:
    text = request.GET.get("year", str(years[0]))
    if not (text.isascii() and text.isdigit() and len(text) == 4 and text > "1969"):
        raise Invalid("year", text, "a year such as " + str(years[0]))
    return int(text)
