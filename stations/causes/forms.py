"""Answering a finding."""

from django import forms

from stations.causes.models import NOTE
from stations.causes.wording import Given
from web.fields import RevisionForm


class AcknowledgeForm(RevisionForm):
    """What the cause was found to be."""

    given = forms.ChoiceField(label="Cause", choices=Given, widget=forms.RadioSelect)
    note = forms.CharField(
        label="Note", max_length=NOTE, required=False,
        help_text="What you looked at. Needed where the cause is something else.",
    )  # fmt: skip


class SettleForm(RevisionForm):
    """Why the new level is the right one."""

    note = forms.CharField(
        label="Why the new level is right", max_length=NOTE,
        help_text="Such as another basket. What follows is held against shots from now on.",
    )  # fmt: skip
