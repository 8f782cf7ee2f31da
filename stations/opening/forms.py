"""What a site asks before it opens."""

from django import forms

from stations.opening.models import MOST_SHOTS


class OpeningForm(forms.Form):
    """How many shots, from when, until when, of which slots."""

    TIMES = ("%H:%M", "%H.%M", "%H%M", "%H")
    revision = forms.IntegerField(widget=forms.HiddenInput, min_value=0, max_value=2_000_000_000)
    shots = forms.IntegerField(
        label="Shots of each slot", min_value=0, max_value=MOST_SHOTS,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        help_text="Within tolerance, one after another. 0: no opening check.",
    )  # fmt: skip
    counts_from = forms.TimeField(
        label="Shots count from", input_formats=TIMES,
        help_text="By the site's clock, such as 05:00. The day of a bar begins here.",
    )  # fmt: skip
    opens_at = forms.TimeField(label="The door opens at", input_formats=TIMES)
    slots = forms.CharField(
        label="Slots", required=False, max_length=120,
        help_text="Numbers such as 1, 3. Nothing: every slot in use.",
    )  # fmt: skip
