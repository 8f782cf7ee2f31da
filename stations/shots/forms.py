"""A check shot, typed with wet hands: three numbers and done."""

from typing import Any

from django import forms

from stations.metrology.formula import BEVERAGE, DOSE, SHOT_TIME
from stations.shots.judging import BOUNDS, LABELS, Weighed
from web.fields import number


class ShotForm(forms.Form):
    """What was weighed and timed."""

    dose_mass = number(LABELS[DOSE], BOUNDS[DOSE])
    beverage_mass = number(LABELS[BEVERAGE], BOUNDS[BEVERAGE])
    shot_time = number(LABELS[SHOT_TIME], BOUNDS[SHOT_TIME])
    strength = number(
        LABELS["strength"], BOUNDS["strength"], required=False, hint="By refractometer, if at all."
    )
    note = forms.CharField(required=False, max_length=500)

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        if not self.is_bound:  # else the errors are read first
            self.fields[DOSE].widget.attrs["autofocus"] = True

    def weighed(self) -> Weighed:
        """The shot for the action."""
        return Weighed(**self.cleaned_data)


class CorrectionForm(ShotForm):
    """What it really was, and why."""

    left_out = forms.BooleanField(
        label="Leave it out of all evaluations",
        required=False,
        help_text="A spilt cup, a wrong basket.",
    )
    reason = forms.CharField(max_length=500, label="What was wrong")
    seen_corrections = forms.IntegerField(widget=forms.HiddenInput, min_value=0, max_value=30_000)

    def weighed(self) -> Weighed:
        """The shot as it really was."""
        names = (*LABELS, "note", "left_out")
        return Weighed(**{name: self.cleaned_data[name] for name in names})
