"""Forms with every kind of field that pages use."""

from django import forms


class GalleryForm(forms.Form):
    """A draft as it would be edited."""

    dose_mass = forms.DecimalField(
        label="Dose",
        help_text="Dry coffee in the basket.",
        widget=forms.TextInput(attrs={"inputmode": "decimal", "data-unit": "g"}),
    )
    beverage_mass = forms.DecimalField(
        label="Yield",
        widget=forms.TextInput(attrs={"inputmode": "decimal", "data-unit": "g"}),
    )
    ends_by = forms.ChoiceField(
        label="Ends by", choices=[("volume", "Volume"), ("mass", "Mass")], widget=forms.RadioSelect
    )
    basket = forms.ChoiceField(choices=[("18", "18 g"), ("20", "20 g")])
    starts = forms.DateField(widget=forms.DateInput(attrs={"type": "date"}))
    grind_note = forms.CharField(required=False, widget=forms.Textarea)
    acknowledged = forms.BooleanField(label="The boiling margin at the screen is known")
    revision = forms.IntegerField(widget=forms.HiddenInput, required=False)


class SignForm(forms.Form):
    """What a signature asks for."""

    reason = forms.CharField(required=False)
    password = forms.CharField(
        label="Your password",
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )


class FilterForm(forms.Form):
    """A list's filter."""

    site = forms.ChoiceField(choices=[("", "All sites"), ("1", "Harbour")], required=False)
    since = forms.DateField(required=False, widget=forms.DateInput(attrs={"type": "date"}))
