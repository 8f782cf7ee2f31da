"""A change request whose base was replaced meanwhile: three sides, and moving it, nothing lost."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from audit.capture.context import recorded
from audit.errors import Invalid, Problem, Refused, Stale
from audit.revision import compare_and_set, must_be_at
from people.persons.models import User
from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.formula.display import shown
from recipes.formula.formula import Formula, write_rows
from recipes.formula.parameters import PARAMETERS, Parameter
from recipes.requests import history
from recipes.requests.actions import (
    lock_request,
    must_be_own,
    must_be_undecided,
    subject_of,
)
from recipes.requests.decisions import current_version
from recipes.requests.models import ChangeRequest
from recipes.versions.drafts import lock_recipe
from recipes.versions.models import Version
from stations.metrology.formula import Stated

CHOICES = ("proposed", "current")


class SidesSeen(NamedTuple):
    """What the three sides were read from: the request's revision, the approved version's id."""

    revision: int
    current: int | None


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
        """What follows for the request, in words."""
        if self.needs_choice:
            return "choose one"
        if self.proposed is None:
            return "stays as it is now"
        return "already so" if self.proposed == self.current else "still proposed"

    @property
    def needs_choice(self) -> bool:
        """Whether somebody has to say which side holds: both moved from the base, apart."""
        return self.moved and self.proposed is not None and self.proposed != self.current


def three_sides(request: ChangeRequest, current: Version) -> list[Sides]:
    """One line for each parameter that was proposed or has moved, in the registry's order."""
    base, now = request.base.stated, current.stated
    proposed = request.proposed
    lines = [
        Sides(parameter, base.of(code), proposed.get(code), now.of(code))
        for code, parameter in PARAMETERS.items()
    ]
    return [line for line in lines if line.moved or line.proposed is not None]


def kept(lines: list[Sides], choices: Mapping[str, str]) -> Formula:
    """The proposals that stand after the choices, less those that the current version fulfils."""
    return Formula(
        {
            line.code: line.proposed
            for line in lines
            if line.proposed is not None
            and line.proposed != line.current
            and choices.get(line.code, "proposed") == "proposed"
        }
    )


def rebase(
    *,
    by: User,
    request: ChangeRequest,
    seen: SidesSeen,
    choices: Mapping[str, str],
) -> ChangeRequest:
    """Update the request to the current version, keeping or dropping each proposal in question.

    Each parameter that both the request and the newer version changed needs "proposed" or
    "current"; a proposal the newer version fulfils already is dropped. For the author and for
    whoever decides. Raises NotPermitted, Stale if either moved on, Refused once
    decided, if nothing was approved meanwhile or nothing would remain, and Invalid naming each
    choice that is missing or unknown.
    """
    subject, site = subject_of(request), request.site_id
    with recorded(by=by, action=history.REQUEST_REBASED, subject=subject, site_id=site):
        _must_be_involved(request, by)
        lock_recipe(request.base.recipe_id)
        now = lock_request(request)
        must_be_undecided(now)
        must_be_at(now, seen.revision)
        _must_be_for_a_change(now)
        current = current_version(now)
        _must_be_seen(now, current, seen)
        if current.pk == now.base_id:
            raise Refused(f"Request {now.pk} is about the current version already.")
        lines = three_sides(now, current)
        _check(lines, choices)
        left = kept(lines, choices)
        if not left:
            raise Refused(
                "Nothing of the request would be left.",
                how_to_ask="Its author takes it back, or a head roaster declines it.",
            )
        write_rows(now.proposals, now.proposed, left)
        compare_and_set(now, now.revision, base=current)
        return now


def _must_be_for_a_change(request: ChangeRequest) -> None:
    if request.asks_for_permit:
        raise Refused(
            "A permit is asked for what the slots hold, not for the newest version.",
            how_to_ask="Take it back and ask anew, where they hold something else by now.",
        )


def _must_be_involved(request: ChangeRequest, by: User) -> None:
    if not may(by, Verb.REQUEST_DECIDE, request.site_id):
        must_be_own(request, by)


def _must_be_seen(request: ChangeRequest, current: Version, seen: SidesSeen) -> None:
    """Raise Stale if another version was approved than the one whose values were chosen from."""
    if seen.current != current.pk:
        raise Stale(
            f"Version {current.number} was approved meanwhile: look at its values, then choose.",
            request.revision,
        )


def _check(lines: list[Sides], choices: Mapping[str, str]) -> None:
    proposed = {line.code for line in lines if line.proposed is not None}
    open_questions = [line.code for line in lines if line.needs_choice]
    problems = [
        Problem(code, choices[code], "a parameter of the request")
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
    if problems:
        raise Invalid.of(problems)
