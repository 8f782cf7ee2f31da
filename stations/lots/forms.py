"""Opening a bag: its code, and what is asked where it is not in its window."""

from typing import Any

from django import forms

from stations.lots.actions import LABEL, REASON


class OpenForm(forms.Form):
    """A lot by its code. What is asked only sometimes is shown once it was asked."""

    code = forms.CharField(
        label="Lot",
        max_length=LABEL,
        help_text="Type it as on the bag, or scan its label.",
        widget=forms.TextInput(
            attrs={"list": "lots", "autocomplete": "off", "spellcheck": "false"}
        ),
    )
    coffee = forms.CharField(
        max_length=80, required=False, help_text="Where two coffees have a lot of this code."
    )
    confirmed = forms.BooleanField(label="Open it all the same", required=False)
    reason = forms.CharField(max_length=REASON, required=False, label="Why")
    seen_opening = forms.IntegerField(
        widget=forms.HiddenInput, required=False, min_value=1, max_value=2**62
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        if not self.is_bound:
            self.fields["code"].widget.attrs["autofocus"] = True

    @property
    def asks_coffee(self) -> bool:
        """Whether it has to be said which coffee's lot is meant."""
        return "coffee" in self.errors or bool(self["coffee"].value())

    @property
    def asks(self) -> bool:
        """Whether opening it has to be confirmed."""
        asked = {"confirmed", "reason"} & set(self.errors)
        return bool(asked) or bool(self["confirmed"].value() or self["reason"].value())


class CloseForm(forms.Form):
    """A button: the bag was seen open."""

    seen_open = forms.BooleanField(widget=forms.HiddenInput, initial=True)
