"""A formula as a form: one line for each parameter of the registry."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.forms import BoundField

from recipes.formula.formula import TEXT, Formula, target_bounds, width_bounds
from recipes.formula.parameters import ENDED_BY, PARAMETERS, Parameter, SetBy
from recipes.formula.plan import FIELDS
from stations.metrology.formula import ENDS_BY, IN_CUP, Stated
from web.fields import PlainDecimalField

SIDES = ("below", "above")
CUP, MACHINE, PRESSURES, BARISTA = "In the cup", "Machine", "Pressure", "Barista"
GROUPS = (CUP, MACHINE, PRESSURES, BARISTA)


def group_of(code: str) -> str:
    """Where an editor shows a parameter."""
    if code in IN_CUP:
        return CUP
    if code in FIELDS:
        return PRESSURES
    return BARISTA if PARAMETERS[code].set_by is SetBy.BARISTA else MACHINE


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

    def in_use(self) -> bool:
        """Whether the recipe states it, has to, or something was typed or is wrong."""
        given = self.target.value() not in (None, "")
        return given or self.parameter.required or bool(self.errors())


@dataclass(frozen=True, slots=True)
class Section:
    """Parameters that are thought of together: those in use, and the rest."""

    title: str
    used: list[ParameterFields]
    more: list[ParameterFields]
    draws: bool = False  # the pressure plan is drawn beside it

    @property
    def numeric(self) -> bool:
        """Whether any of them has tolerances."""
        return any(line.below for line in (*self.used, *self.more))


Width = tuple[Decimal | None, Decimal | None]
"""A tolerance below and above."""


class FormulaForm(forms.Form):
    """Fields `<code>`, `<code>_below`, `<code>_above` for each parameter; all may stay empty.

    Where the tolerances that are ``usual`` are given, a parameter that isn't stated begins with
    its own; left as they are without a target they say nothing.
    """

    def __init__(
        self,
        *args: Any,  # noqa: ANN401
        usual: Mapping[str, Width] | None = None,
        **kwargs: Any,  # noqa: ANN401
    ) -> None:
        super().__init__(*args, **kwargs)
        self.usual = usual or {}
        for parameter in PARAMETERS.values():
            self.fields.update(_fields(parameter))
        for code, width in self.usual.items():
            self._begin_with(code, width)

    def _begin_with(self, code: str, width: Width) -> None:
        stated = self.initial.get(code) is not None
        for side, value in zip(SIDES, width, strict=True):
            if value is not None and not stated:
                self.initial[f"{code}_{side}"] = value

    def sections(self) -> list[Section]:
        """The parameters in groups, as an editor shows them."""
        lines = {line.parameter.code: line for line in self.lines()}
        groups = {title: [code for code in lines if group_of(code) == title] for title in GROUPS}
        return [
            Section(
                title,
                [lines[code] for code in codes if self._shown(lines[code])],
                [lines[code] for code in codes if not self._shown(lines[code])],
                draws=title == PRESSURES,
            )
            for title, codes in groups.items()
        ]

    def _shown(self, line: ParameterFields) -> bool:
        return line.in_use() or line.parameter.code == ENDED_BY.get(str(self[ENDS_BY].value()))

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
        if typed.get(code) is None and (below, above) == self.usual.get(code):
            return Stated()
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
