"""A check shot, typed with wet hands: three numbers and done."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django import forms
from django.db.models import TextChoices

from stations.grinders.actions import SETTING
from stations.grinders.models import Grinder
from stations.metrology.formula import BEVERAGE, DOSE, SHOT_TIME
from stations.shots.judging import BOUNDS, LABELS, SAID, Weighed
from stations.shots.models import Body, Taste
from web.fields import number


class Tapped(forms.ChoiceField):
    """One tap, or none."""

    def __init__(self, known: type[TextChoices], label: str) -> None:
        super().__init__(
            choices=known.choices, label=label, required=False, widget=forms.RadioSelect
        )


class ShotForm(forms.Form):
    """What was weighed and timed."""

    dose_mass = number(LABELS[DOSE], BOUNDS[DOSE])
    beverage_mass = number(LABELS[BEVERAGE], BOUNDS[BEVERAGE])
    shot_time = number(LABELS[SHOT_TIME], BOUNDS[SHOT_TIME])
    strength = number(
        LABELS["strength"], BOUNDS["strength"], required=False, hint="By refractometer, if at all."
    )
    note = forms.CharField(required=False, max_length=500)
    taste = Tapped(Taste, "Taste")
    body = Tapped(Body, "Body")
    grind_setting = number("Grind", SETTING, required=False)

    def weighed(self) -> Weighed:
        """The shot for the action."""
        data = self.cleaned_data
        tapped = {name: data[name] or None for name in ("taste", "body")}
        return Weighed(**{name: data[name] for name in (*LABELS, *SAID, "note")} | tapped)


class CardForm(ShotForm):
    """A shot just pulled, with the grinder where a station has several."""

    grinder = forms.ModelChoiceField(Grinder.objects.none(), required=False, empty_label=None)
    seen_placement = forms.IntegerField(
        widget=forms.HiddenInput, required=False, min_value=1, max_value=2**62
    )

    def __init__(self, *args: Any, grinders: Sequence[Grinder], **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        known = Grinder.objects.filter(pk__in=[each.pk for each in grinders])
        self.fields["grinder"].queryset = known  # type: ignore[attr-defined]
        if not grinders:
            del self.fields["grind_setting"]
        if len(grinders) < 2:
            del self.fields["grinder"]
        if not self.is_bound:  # else the errors are read first
            first = BEVERAGE if self.initial.get(DOSE) else DOSE
            self.fields[first].widget.attrs["autofocus"] = True

    def weighed(self) -> Weighed:
        """The shot for the action; without a grinder there is no mark."""
        self.cleaned_data.setdefault("grind_setting", None)
        return super().weighed()


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
        return replace(super().weighed(), left_out=self.cleaned_data["left_out"])
