"""Which sites the board shows."""

from django import forms

from stations.equipment.forms import SiteFilter

CONDITIONS = {
    "": "All sites",
    "differs": "Sites with slots that differ",
    "drifts": "Sites with stations that drift",
    "to_load": "Sites with slots to load",
    "on_permit": "Sites with slots on permit",
    "by_hand": "Sites with slots set by hand",
}


class BoardFilter(SiteFilter):
    """Sites by name and by what their slots are waiting for."""

    show = forms.ChoiceField(label="Show", required=False, choices=list(CONDITIONS.items()))
