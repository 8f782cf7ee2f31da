"""A note to the next shift."""

from typing import Any

from django import forms

from stations.handover.models import MOST_TEXT

NUMBER: dict[str, Any] = {"min_value": 1, "max_value": 2**62}


class NoteForm(forms.Form):
    """What to leave."""

    text = forms.CharField(
        label="To the next shift", max_length=MOST_TEXT,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="What they cannot see from the machines.",
    )  # fmt: skip
    edits = forms.IntegerField(widget=forms.HiddenInput, required=False, **NUMBER)


class ReadForm(forms.Form):
    """The last note that was shown."""

    until = forms.IntegerField(widget=forms.HiddenInput, **NUMBER)
