"""Forms: what a person chooses to hear of, and what an owner asks for."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.http import QueryDict

from people.notices.kinds import AtLeast, How, kinds, sooner
from people.notices.models import USUAL_DAY, USUAL_HOUR, Weekday
from web.fields import unmarked

HOURS = [(hour, f"{hour:02}:00") for hour in range(24)]
NOTHING = "Nothing: each chooses"


class ChoicesForm(forms.Form):
    """One choice a kind, and when what is collected is read.

    What it showed is sent along, kind by kind, so that only what was changed is kept.
    """

    hour = forms.TypedChoiceField(
        label="What is collected comes at", choices=HOURS, coerce=int, initial=USUAL_HOUR
    )
    weekday = forms.TypedChoiceField(
        label="What is weekly comes on", choices=Weekday.choices, coerce=int, initial=USUAL_DAY
    )

    def __init__(
        self,
        data: QueryDict | None,
        *,
        initial: Mapping[str, Any],
        now: Mapping[str, str],
        asked: Mapping[str, str],
    ) -> None:
        super().__init__(data, initial=dict(initial))
        known = kinds()
        for code, how in now.items():
            least = asked.get(code)
            field = forms.ChoiceField(
                label=known[code].label,
                choices=[c for c in How.choices if sooner(c[0], least) == c[0]],
                initial=how,
                help_text=f"An owner asks for it {AtLeast(least).label.lower()} at least."
                if least
                else "",
            )
            self.fields[code] = field
        self.codes = list(now)
        self.now = dict(now)
        self.order_fields([*self.codes, "hour", "weekday"])

    def chosen(self) -> dict[str, str]:
        """What was chosen, by kind."""
        return {code: self.cleaned_data[code] for code in self.codes}


class RulesForm(forms.Form):
    """The least that everybody hears of each kind, and what this page showed."""

    seen = forms.CharField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        for code, kind in kinds().items():
            self.fields[code] = unmarked(
                forms.ChoiceField(
                    label=kind.label, choices=[("", NOTHING), *AtLeast.choices], required=False
                )
            )

    def wanted(self) -> dict[str, str]:
        """What is asked for, by kind."""
        return {code: self.cleaned_data[code] for code in kinds() if self.cleaned_data[code]}

    def clean_seen(self) -> dict[str, str]:
        """What the page showed. Raises ValidationError."""
        parts = str(self.cleaned_data["seen"]).split(" ")
        pairs = [part.partition("=") for part in parts if part != NONE_ASKED]
        if not all(kind and least in AtLeast.values for kind, _, least in pairs):
            raise forms.ValidationError("What this page showed can't be read: open it anew.")
        return {kind: least for kind, _, least in pairs}


NONE_ASKED = "nothing"


def as_seen(rules: Mapping[str, str]) -> str:
    """Rules as the hidden field carries them."""
    return " ".join(f"{kind}={least}" for kind, least in sorted(rules.items())) or NONE_ASKED
