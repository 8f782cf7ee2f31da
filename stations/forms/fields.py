"""Fields that several forms share."""

from typing import Any

from django import forms

from people.web.fields import PlainDecimalField
from people.web.numbers import Bounds


class SeenRevision(forms.IntegerField):
    """The revision the form was made from; the action refuses the change if it has moved."""

    def __init__(self) -> None:
        super().__init__(widget=forms.HiddenInput, min_value=1, max_value=2_000_000_000)


def number(label: str, bounds: Bounds, *, required: bool = True, hint: str = "") -> Any:  # noqa: ANN401
    """A decimal with its unit beside the box."""
    return PlainDecimalField(label=label, bounds=bounds, required=required, help_text=hint)


def whole(label: str, bounds: Bounds, *, hint: str = "") -> Any:  # noqa: ANN401
    """A whole number."""
    widget = forms.TextInput(attrs={"inputmode": "numeric"})
    return PlainDecimalField(label=label, bounds=bounds, help_text=hint, widget=widget)
