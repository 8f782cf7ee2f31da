"""What another temperature would do: which recipe, and how hot."""

from django import forms

from recipes.formula.formula import target_bounds
from recipes.formula.parameters import PARAMETERS
from recipes.versions.models import Version
from stations.metrology.formula import TEMPERATURE
from web.fields import PlainDecimalField


class VersionChoice(forms.ModelChoiceField[Version]):
    """Approved versions by the names of their recipes."""

    def label_from_instance(self, version: Version) -> str:
        """Recipe and number."""
        return str(version)


class WhatIfForm(forms.Form):
    """An approved version, and the temperature it would be brewed at."""

    version = VersionChoice(
        Version.objects.approved()
        .select_related("recipe__coffee")
        .order_by("recipe__coffee__name", "recipe__drink"),
        label="Recipe",
        empty_label=None,
    )
    brew_temperature = PlainDecimalField(
        label=PARAMETERS[TEMPERATURE].label, bounds=target_bounds(PARAMETERS[TEMPERATURE])
    )
