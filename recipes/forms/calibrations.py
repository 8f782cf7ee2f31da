"""Taking a calibration over."""

from django import forms

from people.web.signing import SigningForm
from stations.forms.fields import SeenRevision


class AcceptForm(SigningForm):
    """The signature over a calibration and what it changes."""

    seen_digest = forms.CharField(max_length=64, widget=forms.HiddenInput)
    seen_revision = SeenRevision()
    reason = forms.CharField(
        label="Note", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Why it is taken over; needed where something speaks against it.",
    )  # fmt: skip
