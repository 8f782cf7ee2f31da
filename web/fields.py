"""Form and serializer fields that read numbers by web.numbers."""

from decimal import Decimal
from typing import Any, TypedDict

from django import forms
from django.core.exceptions import ValidationError
from rest_framework import serializers

from web.numbers import BadNumber, Bounds, Entered, read_entered, read_number
from web.printing import exact, unit_label
from web.units import chosen, shown


class Between(TypedDict):
    """Bounds of a whole number, for a serializer's field."""

    min_value: int
    max_value: int


ID = Between(min_value=1, max_value=2**62)


class PlainDecimalField(forms.CharField):
    """A number on a page; its cleaned value is an exact Decimal, or None where not required."""

    def __init__(self, *, bounds: Bounds | None = None, **kwargs: Any) -> None:  # noqa: ANN401
        self.bounds = bounds or Bounds()
        self.entered: Entered | None = None
        unit = {"data-unit": self.bounds.unit} if self.bounds.unit else {}
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", **unit}))
        super().__init__(**kwargs)

    def clean(self, value: Any) -> Decimal | None:  # noqa: ANN401
        """The exact number. Raises ValidationError with the value and what is allowed."""
        text = super().clean(value)
        self.entered = None
        if text in self.empty_values:
            return None
        try:
            self.entered = read_entered(text, self.bounds)
        except BadNumber as bad:
            raise ValidationError(str(bad), code="invalid") from bad
        return self.entered.stored

    def bound_data(self, data: Any, initial: Any) -> Any:  # noqa: ANN401
        """What was typed stays as it was typed, whatever unit it is in."""
        return AsTyped(data) if isinstance(data, str) else data

    def prepare_value(self, value: Any) -> Any:  # noqa: ANN401
        """What is stored, in the unit in which this person types."""
        unit = chosen().typed_in(self.bounds.unit)
        stored = None if isinstance(value, AsTyped) else exact(value)
        if stored is None or unit == self.bounds.unit:
            return value
        return format(shown(stored, unit), "f")

    def has_changed(self, initial: Any, data: Any) -> bool:  # noqa: ANN401
        """18.50 typed over 18.5 is no change."""
        try:
            same = Bounds(unit=self.bounds.unit, digits=18)
            return read_number(initial, same) != read_entered(data, same).stored
        except BadNumber:
            return super().has_changed(initial, data)


class AsTyped(str):
    """What somebody typed, to be shown again as it is."""

    __slots__ = ()


def typed_unit(field: forms.Field) -> str:
    """The printed unit in which a field is typed, for its label; empty where it has none."""
    return unit_label(chosen().typed_in(str(field.widget.attrs.get("data-unit", ""))))


def unmarked(field: forms.Field) -> forms.Field:
    """The same field, without the word “optional” beside its label: where all of a form's are."""
    vars(field)["spare"] = True
    return field


class SeenRevision(forms.IntegerField):
    """The revision the form was made from; the action refuses the change if it has moved."""

    def __init__(self) -> None:
        super().__init__(widget=forms.HiddenInput, min_value=1, max_value=2_000_000_000)


class RevisionForm(forms.Form):
    """A button that acts on what was seen."""

    revision = SeenRevision()


def number(label: str, bounds: Bounds, *, required: bool = True, hint: str = "") -> Any:  # noqa: ANN401
    """A decimal with its unit beside the box."""
    return PlainDecimalField(label=label, bounds=bounds, required=required, help_text=hint)


def whole(label: str, bounds: Bounds, *, hint: str = "") -> Any:  # noqa: ANN401
    """A whole number."""
    widget = forms.TextInput(attrs={"inputmode": "numeric"})
    return PlainDecimalField(label=label, bounds=bounds, help_text=hint, widget=widget)


class PlainDecimal(serializers.Field[Decimal, Any, str, Any]):
    """A number in the API: a JSON string (as it is answered) or a JSON number, read exactly."""

    def __init__(self, *, bounds: Bounds | None = None, **kwargs: Any) -> None:  # noqa: ANN401
        self.bounds = bounds or Bounds()
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> Decimal:  # noqa: ANN401
        """The exact number. Raises ValidationError with the value and what is allowed."""
        if isinstance(data, bool) or not isinstance(data, str | int | float | Decimal):
            raise serializers.ValidationError(
                f"Not a number: give {self.bounds.words()}, as text or as a JSON number."
            )
        try:
            return read_number(data, self.bounds)
        except BadNumber as bad:
            raise serializers.ValidationError(str(bad)) from bad

    def to_representation(self, value: Decimal) -> str:
        """As it is stored, digit for digit."""
        return f"{value:f}"
