"""A grinder, the mark it is set to, and what was done to it."""

from typing import Any

from django import forms

from stations.equipment.models import Site, Station
from stations.grinders.actions import MARKS, MICROMETRES, REASON, SERIAL, SETTING, STEP
from stations.grinders.models import BREAKS, Finer
from web.fields import SeenRevision, number


class StationsField(forms.ModelMultipleChoiceField[Station]):
    """Tick boxes of a site's stations."""

    def label_from_instance(self, obj: Station) -> str:
        """Machine and number: the site is known."""
        return str(obj)


class NewGrinderForm(forms.Form):
    """A grinder to be entered."""

    name = forms.CharField(max_length=80, help_text="As the bar calls it, such as “House grinder”.")
    finer = forms.ChoiceField(label="Direction", choices=Finer.choices)
    setting = number("Stands at", SETTING, hint="The mark it is set to now.")
    step = number("Least move", STEP, hint="In marks: 1, or 0.5 where it stops between two.")
    marks_per_turn = number("Marks per turn", MARKS, required=False)
    micrometres_per_mark = number(
        "Burr gap per mark", MICROMETRES, required=False, hint="As its maker states it, if at all."
    )
    stations = StationsField(
        Station.objects.none(),
        label="Serves",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None: it is not in use.",
    )

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        here = Station.objects.filter(machine__site=site).with_equipment()
        self.fields["stations"].queryset = here  # type: ignore[attr-defined]


class GrinderForm(NewGrinderForm):
    """A grinder that is already there; how it is set is written to its log."""

    setting = None
    revision = SeenRevision()


class SeenEvent(forms.IntegerField):
    """The newest line of the log that was looked at."""

    def __init__(self) -> None:
        super().__init__(widget=forms.HiddenInput, min_value=1, max_value=2**62, required=False)


class SettingForm(forms.Form):
    """The mark a grinder is set to now."""

    setting = number("Set to", SETTING)
    reason = forms.CharField(max_length=REASON, label="Why")
    seen_event = SeenEvent()


class WorkForm(forms.Form):
    """Burrs or the whole grinder changed."""

    kind = forms.ChoiceField(label="What", choices=[(each.value, each.label) for each in BREAKS])
    setting = number("Set to", SETTING, hint="The mark it stands at since.")
    serial_number = forms.CharField(max_length=SERIAL, required=False)
    reason = forms.CharField(max_length=REASON, label="Why")
    seen_event = SeenEvent()
