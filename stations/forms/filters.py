"""Filters over lists."""

from django import forms

CONDITIONS = {
    "": "All sites",
    "differs": "Sites with slots that differ",
    "drifts": "Sites with stations that drift",
    "to_load": "Sites with slots to load",
    "on_permit": "Sites with slots on permit",
    "by_hand": "Sites with slots set by hand",
}


class SiteFilter(forms.Form):
    """Sites by a part of their name."""

    q = forms.CharField(label="Site", required=False, max_length=80)


class BoardFilter(SiteFilter):
    """Sites by name and by what their slots are waiting for."""

    show = forms.ChoiceField(label="Show", required=False, choices=list(CONDITIONS.items()))
