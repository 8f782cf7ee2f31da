"""What a slot is found to hold, or is set to, typed in as the machine shows it."""

from collections.abc import Iterable, Mapping
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django import forms

from stations.machine_types.catalogue import ENDINGS, in_order, label_of, unit_of, word_of
from stations.machine_types.models import Ability, MachineType
from stations.metrology.formula import ENDS_BY
from stations.slots.verdicts import found_bounds
from web.fields import PlainDecimalField, unmarked
from web.numbers import BadNumber, Bounds, read_entered
from web.printing import quantity
from web.units import places_of

FAR = Decimal(5)  # times what should be there, either way: more likely a slip of the finger


def _ending(choices: Iterable[str], hint: str = "") -> forms.ChoiceField:
    named = [(code, ENDINGS.get(code, code)) for code in ENDINGS if code in set(choices)]
    return forms.ChoiceField(
        label=label_of(ENDS_BY), required=False, choices=[("", "Choose"), *named], help_text=hint
    )


class ReadBackForm(forms.Form):
    """What a slot shows: as it should, a box for each setting that does not, or nothing at all.

    A box left empty was not looked at, unless the rest is ticked to be as shown.
    """

    seen_placement = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=2**62)
    as_shown = forms.BooleanField(label="As shown", required=False)

    def __init__(
        self,
        expected: Mapping[str, Mapping[str, str]],
        *args: Any,  # noqa: ANN401
        **kwargs: Any,  # noqa: ANN401
    ) -> None:
        super().__init__(*args, **kwargs)
        self.expected = {code: each["value"] for code, each in expected.items()}
        self.codes = in_order(expected)
        for code in self.codes:
            should, unit = self.expected[code], expected[code].get("unit", "")
            hint = f"Should be {quantity(word_of(code, should), unit)}"
            self.fields[code] = (
                _ending(ENDINGS, hint)
                if code == ENDS_BY
                else PlainDecimalField(
                    label=label_of(code), bounds=found_bounds(unit), required=False,
                    help_text=hint, widget=_box(unit),
                )
            )  # fmt: skip
            unmarked(self.fields[code])
            if code != ENDS_BY:
                places = places_of(Decimal(should))
                vars(self.fields[code])["step"] = Decimal(1).scaleb(-places)
        self.fields["holds_nothing"] = forms.BooleanField(
            label="The slot holds nothing at all", required=False
        )
        if any(self._far_off(code) for code in self.codes):
            self.fields["sure"] = forms.BooleanField(
                label="The machine really shows that", required=False
            )

    @property
    def touched(self) -> bool:
        """Whether anything was ticked, chosen or typed."""
        names = ("as_shown", "holds_nothing", *self.codes)
        return any(self.data.get(self.add_prefix(name), "").strip() for name in names)

    def _far_off(self, code: str) -> Decimal | None:
        """How many times what should be there was typed, where that is likelier a slip."""
        typed, should = self.data.get(self.add_prefix(code), ""), self.expected[code]
        field = self.fields[code]
        if not isinstance(field, PlainDecimalField) or not typed or not Decimal(should):
            return None
        try:
            times = read_entered(typed, field.bounds).stored / Decimal(should)
        except BadNumber:
            return None
        return None if 1 / FAR < times < FAR else times

    def clean(self) -> dict[str, Any]:
        """An empty form is more likely a slip than an empty slot, and so is ten times the value."""
        cleaned = super().clean() or {}
        if not self.touched:
            self.add_error(None, "Tick “As shown”, type what differs, or tick that it is empty.")
        if self._typed() and cleaned.get("holds_nothing"):
            self.add_error("holds_nothing", "Tick this only when no value is typed.")
        if cleaned.get("as_shown") and cleaned.get("holds_nothing"):
            self.add_error("holds_nothing", "Tick this or “As shown”, not both.")
        if not cleaned.get("sure"):
            for code in self.codes:
                if (times := self._far_off(code)) is not None and code in cleaned:
                    self.add_error(code, _doubt(times, str(self.fields[code].help_text)))
        return cleaned

    def _typed(self) -> dict[str, str]:
        return _typed(self, self.codes)

    def found(self) -> dict[str, str]:
        """The values as text, digit for digit."""
        rest = self.expected if self.cleaned_data["as_shown"] else {}
        return {**rest, **self._typed()}

    def unread(self) -> list[str]:
        """The codes that nobody looked at: none where a tick speaks for the rest."""
        told = self.cleaned_data["as_shown"] or self.cleaned_data["holds_nothing"]
        return [] if told else [code for code in self.codes if code not in self._typed()]


def _doubt(times: Decimal, should: str) -> str:
    much = "0"
    if times:
        much = f"{times:.0f} times that" if times > 1 else f"that divided by {1 / times:.0f}"
    return f"{should}, and this is {much}. If the machine shows it, tick so below."


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
    bounds = Bounds(ability.minimum, ability.maximum, unit=unit)
    reach = f"{quantity(ability.minimum, unit)} to {quantity(ability.maximum, unit)}"
    field = PlainDecimalField(
        label=label_of(ability.parameter), bounds=bounds, required=False,
        help_text=reach, widget=_box(unit),
    )  # fmt: skip
    vars(field)["step"] = ability.resolution
    return field


def _box(unit: str) -> forms.TextInput:
    attrs = {"inputmode": "decimal", "autocomplete": "off"}
    return forms.TextInput(attrs={**attrs, **({"data-unit": unit} if unit else {})})


def _on_the_machine(form: forms.Form, code: str) -> object:
    """What was typed; of °F the nearest the machine can be at, for it counts in °C."""
    value, field = form.cleaned_data.get(code), form.fields[code]
    step: Decimal | None = vars(field).get("step")
    if not (isinstance(field, PlainDecimalField) and field.entered and step):
        return value
    if not field.entered.is_converted:
        return value
    return (field.entered.stored / step).to_integral_value(ROUND_HALF_UP) * step


def _typed(form: forms.Form, codes: Iterable[str]) -> dict[str, str]:
    values = {code: _on_the_machine(form, code) for code in codes}
    return {
        code: format(value, "f") if isinstance(value, Decimal) else str(value)
        for code, value in values.items()
        if value not in (None, "")
    }
