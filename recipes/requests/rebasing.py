"""A change request whose base was replaced meanwhile: three sides, and moving it, nothing lost."""

from collections.abc import Mapping
from typing import NamedTuple

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Stale
from audit.revision import compare_and_set, must_be_at
from people.persons.models import User
from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.formula.formula import Formula, write_rows
from recipes.formula.sides import Sides, choice_problems, sides_of
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


class SidesSeen(NamedTuple):
    """What the three sides were read from: the request's revision, the approved version's id."""

    revision: int
    current: int | None


def three_sides(request: ChangeRequest, current: Version) -> list[Sides]:
    """One line for each parameter that was proposed or has moved, in the registry's order."""
    return sides_of(request.base.stated, request.proposed, current.stated)


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
        problems = choice_problems(lines, choices, "request")
        if problems:
            raise Invalid.of(problems)
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
