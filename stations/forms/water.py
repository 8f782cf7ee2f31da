"""A water report's values, each in the unit it came in."""

from django import forms

from stations.actions.water import AMOUNT, NOTE, PH, SOLIDS, TEMPERATURE
from stations.forms.fields import number
from stations.metrology.water_units import AlkalinityUnit, HardnessUnit, TemperatureUnit


class WaterForm(forms.Form):
    """One reading."""

    taken_on = forms.DateField(label="Taken on", widget=forms.DateInput(attrs={"type": "date"}))
    ph = number("pH", PH)
    hardness_value = number("Hardness", AMOUNT)
    hardness_unit = forms.ChoiceField(choices=[(u.value, u.value) for u in HardnessUnit])
    alkalinity_value = number("Alkalinity", AMOUNT)
    alkalinity_unit = forms.ChoiceField(choices=[(u.value, u.value) for u in AlkalinityUnit])
    dissolved_solids = number("Dissolved solids (TDS)", SOLIDS)
    temperature = number("Temperature", TEMPERATURE, hint="Of the sample.")
    temperature_unit = forms.ChoiceField(choices=[(u.value, u.value) for u in TemperatureUnit])
    note = forms.CharField(max_length=NOTE, required=False)
