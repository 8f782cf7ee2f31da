"""A formula as a form: one line for each parameter of the registry."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django import forms
from django.forms import BoundField

from recipes.formula.formula import TEXT, Formula, target_bounds, width_bounds
from recipes.formula.parameters import PARAMETERS, Parameter
from stations.metrology.formula import Stated
from web.fields import PlainDecimalField

SIDES = ("below", "above")


@dataclass(frozen=True, slots=True)
class ParameterFields:
    """One parameter's fields; a text has no tolerances."""

    parameter: Parameter
    target: BoundField
    below: BoundField | None
    above: BoundField | None

    def errors(self) -> list[str]:
        """What is wrong in any field of the line."""
        fields = [self.target, self.below, self.above]
        return [str(error) for field in fields if field for error in field.errors]


class FormulaForm(forms.Form):
    """Fields `<code>`, `<code>_below`, `<code>_above` for each parameter; all may stay empty."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        for parameter in PARAMETERS.values():
            self.fields.update(_fields(parameter))

    def lines(self) -> Iterator[ParameterFields]:
        """The parameters in the registry's order."""
        for code, parameter in PARAMETERS.items():
            sides = [self[f"{code}_{side}"] if parameter.is_number else None for side in SIDES]
            yield ParameterFields(parameter, self[code], *sides)

    def values(self) -> Formula:
        """The formula as it was typed; empty lines left out."""
        return Formula({code: self._typed(parameter) for code, parameter in PARAMETERS.items()})

    def _typed(self, parameter: Parameter) -> Stated:
        typed, code = self.cleaned_data, parameter.code
        if not parameter.is_number:
            return Stated(text=typed.get(code) or "")
        below, above = (typed.get(f"{code}_{side}") for side in SIDES)
        return Stated(typed.get(code), below, above)


def formula_initial(formula: Formula) -> dict[str, object]:
    """The formula as the form's initial values, digit for digit."""
    initial: dict[str, object] = {}
    for code, stated in formula.items():
        initial[code] = stated.text or stated.target
        initial |= {f"{code}_below": stated.below, f"{code}_above": stated.above}
    return initial


def _fields(parameter: Parameter) -> dict[str, forms.Field]:
    code, label = parameter.code, parameter.label
    if parameter.choices:
        choices = [("", "Choose"), *parameter.choices]
        return {code: forms.ChoiceField(label=label, choices=choices, required=False)}
    if not parameter.is_number:
        return {code: forms.CharField(label=label, max_length=TEXT, required=False)}
    target, width = target_bounds(parameter), width_bounds(parameter)
    return {
        code: PlainDecimalField(label=label, bounds=target, required=False),
        f"{code}_below": PlainDecimalField(
            label=f"{label}, tolerance below", bounds=width, required=False
        ),
        f"{code}_above": PlainDecimalField(
            label=f"{label}, tolerance above", bounds=width, required=False
        ),
    }
