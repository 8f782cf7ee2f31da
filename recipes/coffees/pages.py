"""Coffees and their roast lots."""

from datetime import timedelta

import segno
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.coffees.actions import add_coffee, add_lot, change_coffee
from recipes.coffees.forms import ChangeCoffeeForm, CoffeeForm, LotForm
from recipes.coffees.models import Coffee, RoastLot, rest_of
from web.form_pages import form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page

FIELDS = ("name", "rest_from", "rest_to", "note", "revision")
LOTS = 20  # the newest, on a coffee's page


@page(Verb.RECIPE_VIEW)
def coffees(request: PageRequest) -> HttpResponse:
    """All coffees, each with its newest roast."""
    all_coffees = Coffee.objects.annotate(recipe_count=Count("recipes", distinct=True))
    newest = RoastLot.objects.order_by("coffee_id", "-roasted_on", "-id").distinct("coffee_id")
    lots = {lot.coffee_id: rest_of(lot, timezone.now().date()) for lot in newest}
    context = {
        "rows": [(coffee, lots.get(coffee.pk)) for coffee in all_coffees],
        "may_edit": may(request.user, Verb.COFFEE_EDIT),
    }
    return render(request, "recipes/coffees/coffees.html", context)


@page(Verb.RECIPE_VIEW)
def coffee(request: PageRequest, pk: int) -> HttpResponse:
    """One coffee: its roasts and what is brewed of it."""
    shown = one_or_404(Coffee.objects.all(), pk)
    today = timezone.now().date()
    context = {
        "coffee": shown,
        "lots": [rest_of(lot, today) for lot in shown.lots.all()[:LOTS]],
        "may_edit": may(request.user, Verb.COFFEE_EDIT),
        "may_draft": may(request.user, Verb.RECIPE_DRAFT),
        "may_read_history": may(request.user, Verb.RECIPE_HISTORY),
    }
    return render(request, "recipes/coffees/coffee.html", context)


@page(Verb.COFFEE_EDIT, methods="GET POST")
def coffee_add(request: PageRequest) -> HttpResponse:
    """Add a coffee."""
    form = CoffeeForm(posted(request))
    return form_page(
        request,
        "recipes/coffees/coffee_form.html",
        form,
        lambda: add_coffee(by=request.user, **form.cleaned_data),
        said="{} was added.",
        context={},
    )


@page(Verb.COFFEE_EDIT, methods="GET POST")
def coffee_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Change a coffee."""
    shown = one_or_404(Coffee.objects.all(), pk)
    initial = {name: getattr(shown, name) for name in FIELDS}
    form = ChangeCoffeeForm(posted(request), initial=initial)
    return form_page(
        request,
        "recipes/coffees/coffee_form.html",
        form,
        lambda: change_coffee(by=request.user, coffee=shown, **form.cleaned_data),
        said="{} was changed.",
        context={"coffee": shown},
    )


@page(Verb.RECIPE_VIEW)
def lot_label(request: PageRequest, pk: int) -> HttpResponse:
    """What is printed and stuck on a bag: the lot in words, and as a code that opens it."""
    lot = one_or_404(RoastLot.objects.select_related("coffee"), pk)
    context = {
        "lot": lot,
        "ready_on": lot.roasted_on + timedelta(days=lot.rest_from),
        "best_until": lot.roasted_on + timedelta(days=lot.rest_to),
        # Medium correction: a bag gets creased. The code is the lot in words, which a scanner that
        # types writes as somebody would.
        "code_image": segno.make(str(lot), error="m", micro=False).svg_data_uri(border=4),
    }
    return render(request, "recipes/coffees/lot_label.html", context)


@page(Verb.COFFEE_EDIT, methods="GET POST")
def lot_add(request: PageRequest, pk: int) -> HttpResponse:
    """Add a roast of a coffee."""
    shown = one_or_404(Coffee.objects.all(), pk)
    form = LotForm(posted(request))

    def act() -> Coffee:
        return add_lot(by=request.user, coffee=shown, **form.cleaned_data).coffee

    return form_page(
        request,
        "recipes/coffees/lot_form.html",
        form,
        act,
        said="The lot of {} was added.",
        context={"coffee": shown},
    )
