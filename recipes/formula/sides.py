"""Three sides of a formula: what a base said, what was made of it, and what is approved since."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from rest_framework import serializers

from audit.errors import Problem
from recipes.formula.display import shown
from recipes.formula.fields import StatedOut, stated_out
from recipes.formula.formula import Formula
from recipes.formula.parameters import PARAMETERS, Parameter
from stations.metrology.formula import Stated
from web.fields import ID, RevisionForm

CHOICES = ("proposed", "current")


@dataclass(frozen=True)
class Sides:
    """What the base said, what was proposed, and what the approved version says now."""

    parameter: Parameter
    base: Stated
    proposed: Stated | None
    current: Stated

    @property
    def code(self) -> str:
        """The parameter's code."""
        return self.parameter.code

    @property
    def moved(self) -> bool:
        """Whether the approved version says something else than the base did."""
        return self.base != self.current

    @property
    def base_shown(self) -> Decimal | str | None:
        """The base's target as pages print it."""
        return shown(self.parameter, self.base)

    @property
    def proposed_shown(self) -> Decimal | str | None:
        """The proposed target as pages print it."""
        return shown(self.parameter, self.proposed or Stated())

    @property
    def current_shown(self) -> Decimal | str | None:
        """The current target as pages print it."""
        return shown(self.parameter, self.current)

    @property
    def verdict(self) -> str:
        """What follows, in words."""
        if self.needs_choice:
            return "choose one"
        if self.proposed is None:
            return "stays as it is now"
        return "already so" if self.proposed == self.current else "still proposed"

    @property
    def undoes(self) -> bool:
        """Whether the proposal only repeats the base, and so takes back what moved since."""
        return self.needs_choice and self.proposed == self.base

    @property
    def needs_choice(self) -> bool:
        """Whether somebody has to say which side holds: both moved from the base, apart."""
        return self.moved and self.proposed is not None and self.proposed != self.current


def sides_of(base: Formula, proposed: Mapping[str, Stated], current: Formula) -> list[Sides]:
    """One line for each parameter that was proposed or has moved, in the registry's order."""
    lines = [
        Sides(parameter, base.of(code), proposed.get(code), current.of(code))
        for code, parameter in PARAMETERS.items()
    ]
    return [line for line in lines if line.moved or line.proposed is not None]


class SidesOut(serializers.Serializer[dict[str, Any]]):
    """One parameter's three sides; null where a side says nothing."""

    code = serializers.CharField()
    base = StatedOut(allow_null=True)
    proposed = StatedOut(allow_null=True)
    current = StatedOut(allow_null=True)
    needs_choice = serializers.BooleanField()


class ThreeSidesOut(serializers.Serializer[dict[str, Any]]):
    """A request or a draft, its base and the version approved now."""

    base = serializers.IntegerField(allow_null=True)
    current = serializers.IntegerField(allow_null=True)
    sides = SidesOut(many=True)


def sides_out(line: Sides) -> dict[str, object]:
    """A line as the API answers it."""
    sides = {"base": line.base, "proposed": line.proposed, "current": line.current}
    shown_sides = {
        name: stated_out(line.code, stated) if stated else None for name, stated in sides.items()
    }
    return {"code": line.code, **shown_sides, "needs_choice": line.needs_choice}


class ChoicesIn(serializers.Serializer[dict[str, Any]]):
    """For each parameter that both sides changed: which holds, of the sides that were read."""

    current = serializers.IntegerField(help_text="The current version's id, as read.", **ID)
    choices = serializers.DictField(
        child=serializers.ChoiceField(choices=list(CHOICES)), default=dict
    )


class SidesForm(RevisionForm):
    """For each parameter that both sides changed: which holds, of the sides that were shown."""

    current = forms.IntegerField(widget=forms.HiddenInput)  # the version approved now
    kept = "Keep the proposal"
    taken = "Take the value approved now"

    def __init__(self, *args: Any, lines: Sequence[Sides], **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.fields["current"].required = bool(lines)  # without one the action says so
        self.asked = [line for line in lines if line.needs_choice]
        for line in self.asked:
            self.fields[line.code] = forms.ChoiceField(
                label=line.parameter.label,
                choices=(("proposed", self.kept), ("current", self.taken)),
                initial="current" if line.undoes else None,
                widget=forms.RadioSelect,
            )

    def choices(self) -> dict[str, str]:
        """By parameter code."""
        return {line.code: self.cleaned_data[line.code] for line in self.asked}


def choice_problems(lines: list[Sides], choices: Mapping[str, str], whole: str) -> list[Problem]:
    """What is wrong with the choices: unknown, for no line of ``whole``, or missing."""
    proposed = {line.code for line in lines if line.proposed is not None}
    open_questions = [line.code for line in lines if line.needs_choice]
    problems = [
        Problem(code, choices[code], f"a parameter of the {whole}")
        for code in choices
        if code not in proposed
    ]
    problems += [
        Problem(code, choices[code], "proposed or current")
        for code in choices
        if code in proposed and choices[code] not in CHOICES
    ]
    problems += [
        Problem(code, None, "proposed or current, because the newer version changed it too")
        for code in open_questions
        if code not in choices
    ]
    return problems
