"""Coffees, lots and recipes."""

from django import forms

from recipes.coffees.models import Coffee
from web.fields import SeenRevision


def _days(label: str, help_text: str, *, required: bool = True) -> forms.IntegerField:
    widget = forms.TextInput(attrs={"inputmode": "numeric", "data-unit": "d"})
    return forms.IntegerField(label=label, help_text=help_text, required=required, widget=widget)


class CoffeeForm(forms.Form):
    """A new coffee."""

    name = forms.CharField(max_length=80)
    rest_from = _days("Ready after", "Days off roast from which it may be brewed.")
    rest_to = _days("Best until", "Days off roast after which it fades.")
    note = forms.CharField(max_length=2000, required=False, widget=forms.Textarea)


class ChangeCoffeeForm(CoffeeForm):
    """A coffee as it was seen."""

    revision = SeenRevision()


class LotForm(forms.Form):
    """One roast; its window is the coffee's unless it says otherwise."""

    code = forms.CharField(label="Lot", max_length=40, help_text="As it is written on the bags.")
    roasted_on = forms.DateField(
        label="Roasted on", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    rest_from = _days("Ready after", "Empty: as the coffee says.", required=False)
    rest_to = _days("Best until", "Empty: as the coffee says.", required=False)


class RecipeForm(forms.Form):
    """A coffee and a drink."""

    coffee = forms.ModelChoiceField(Coffee.objects.all(), empty_label="Choose a coffee")
    drink = forms.CharField(max_length=60, help_text="Such as espresso, or large milk drink.")
