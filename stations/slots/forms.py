"""What a slot is found to hold, or is set to, typed in as the machine shows it."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from django import forms

from stations.machine_types.catalogue import ENDINGS, in_order, label_of, unit_of, word_of
from stations.machine_types.models import Ability, MachineType
from stations.metrology.formula import ENDS_BY
from stations.slots.verdicts import found_bounds
from web.fields import PlainDecimalField
from web.numbers import Bounds
from web.printing import quantity, unit_label


def _ending(choices: Iterable[str], hint: str = "") -> forms.ChoiceField:
    named = [(code, ENDINGS.get(code, code)) for code in ENDINGS if code in set(choices)]
    return forms.ChoiceField(
        label=label_of(ENDS_BY), required=False, choices=[("", "Choose"), *named], help_text=hint
    )


class ReadBackForm(forms.Form):
    """One box for each setting the slot should hold; an empty one says the slot shows nothing."""

    seen_placement = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=2**62)

    def __init__(
        self,
        expected: Mapping[str, Mapping[str, str]],
        *args: Any,  # noqa: ANN401
        **kwargs: Any,  # noqa: ANN401
    ) -> None:
        super().__init__(*args, **kwargs)
        self.codes = in_order(expected)
        for code in self.codes:
            should, unit = expected[code]["value"], expected[code].get("unit", "")
            hint = f"Should be {quantity(word_of(code, should), unit)}"
            self.fields[code] = (
                _ending(ENDINGS, hint)
                if code == ENDS_BY
                else PlainDecimalField(
                    label=label_of(code), bounds=found_bounds(unit), required=False,
                    help_text=hint, widget=_box(unit),
                )
            )  # fmt: skip
        self.fields["holds_nothing"] = forms.BooleanField(
            label="The slot holds nothing at all", required=False
        )

    def clean(self) -> dict[str, Any]:
        """An empty form is more likely a slip than an empty slot."""
        cleaned = super().clean() or {}
        typed = [code for code in self.codes if cleaned.get(code) not in (None, "")]
        if not typed and not cleaned.get("holds_nothing") and not self.errors:
            self.add_error(None, "Type what the slot shows, or tick that it holds nothing.")
        if typed and cleaned.get("holds_nothing"):
            self.add_error("holds_nothing", "Tick this only when no value is typed.")
        return cleaned

    def found(self) -> dict[str, str]:
        """The values as text, digit for digit."""
        return _typed(self, self.codes)


class ByHandForm(forms.Form):
    """One box for each thing the machine can set."""

    def __init__(self, machine_type: MachineType, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        held = {ability.parameter: ability for ability in machine_type.abilities.all()}
        self.codes = in_order({**held, ENDS_BY: None})
        for code in self.codes:
            self.fields[code] = (
                _ending(machine_type.ends_by) if code == ENDS_BY else _reach_field(held[code])
            )

    def values(self) -> dict[str, str]:
        """The values as text, digit for digit."""
        return _typed(self, self.codes)


def _reach_field(ability: Ability) -> PlainDecimalField:
    unit = unit_of(ability.parameter)
    bounds = Bounds(ability.minimum, ability.maximum, unit=unit_label(unit))
    reach = f"{quantity(ability.minimum)} to {quantity(ability.maximum, unit)}"
    return PlainDecimalField(
        label=label_of(ability.parameter), bounds=bounds, required=False,
        help_text=reach, widget=_box(unit),
    )  # fmt: skip


def _box(unit: str) -> forms.TextInput:
    attrs = {"inputmode": "decimal", "autocomplete": "off"}
    return forms.TextInput(attrs={**attrs, **({"data-unit": unit} if unit else {})})


def _typed(form: forms.Form, codes: Iterable[str]) -> dict[str, str]:
    values = {code: form.cleaned_data.get(code) for code in codes}
    return {
        code: format(value, "f") if isinstance(value, Decimal) else str(value)
        for code, value in values.items()
        if value not in (None, "")
    }
