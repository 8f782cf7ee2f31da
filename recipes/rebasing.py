"""A change request whose base was replaced meanwhile: its three sides, parameter by parameter."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from recipes.compare import shown
from recipes.formula import Entry, stored
from recipes.models import ChangeRequest, Version
from recipes.parameters import PARAMETERS, Parameter


@dataclass(frozen=True)
class Sides:
    """What the base said, what was proposed, and what the approved version says now."""

    parameter: Parameter
    base: Entry
    proposed: Entry | None
    current: Entry

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
        return shown(self.parameter, self.proposed or Entry())

    @property
    def current_shown(self) -> Decimal | str | None:
        """The current target as pages print it."""
        return shown(self.parameter, self.current)

    @property
    def verdict(self) -> str:
        """What follows for the request, in words."""
        if self.needs_choice:
            return "choose one"
        if self.proposed is None:
            return "stays as it is now"
        return "fulfilled already" if self.proposed == self.current else "the proposal stands"

    @property
    def needs_choice(self) -> bool:
        """Whether somebody has to say which side holds: both moved from the base, apart."""
        return self.moved and self.proposed is not None and self.proposed != self.current


def three_sides(request: ChangeRequest, current: Version) -> list[Sides]:
    """One line for each parameter that was proposed or has moved, in the registry's order."""
    base, now = stored(request.base.formula.all()), stored(current.formula.all())
    proposed = stored(request.proposals.all())
    lines = [
        Sides(parameter, base.get(code, Entry()), proposed.get(code), now.get(code, Entry()))
        for code, parameter in PARAMETERS.items()
    ]
    return [line for line in lines if line.moved or line.proposed is not None]


def kept(lines: list[Sides], choices: Mapping[str, str]) -> dict[str, Entry]:
    """The proposals that stand after the choices, less those that the current version fulfils."""
    return {
        line.code: line.proposed
        for line in lines
        if line.proposed is not None
        and line.proposed != line.current
        and choices.get(line.code, "proposed") == "proposed"
    }
