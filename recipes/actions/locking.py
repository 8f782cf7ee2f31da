"""Rows read anew under a lock, so that of two racing changes the later sees the earlier."""

from typing import Any

from audit.errors import NotFound, Refused, Stale
from audit.revision import Revised, compare_and_set
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.verbs import Verb
from recipes.models import ChangeRequest, Recipe, Version


def subject_of(version: Version) -> Subject:
    """What a history entry about a version is about: its recipe, under the version's name."""
    return Subject("recipe", version.recipe_id, str(version))


def lock_recipe(recipe_id: int) -> Recipe:
    """The recipe, locked until the end: new numbers and approvals of one recipe take turns."""
    _lock(Recipe, recipe_id)
    return Recipe.objects.select_related("coffee").get(pk=recipe_id)


def lock_version(version: Version, by: User, verb: Verb) -> Version:
    """The version as it is now, locked, for somebody who may. Raises NotPermitted."""
    require(by, verb, subject=subject_of(version))
    _lock(Version, version.pk)
    return Version.objects.with_recipe().get(pk=version.pk)


def lock_request(request: ChangeRequest) -> ChangeRequest:
    """The change request as it is now, locked."""
    _lock(ChangeRequest, request.pk)
    return ChangeRequest.objects.with_base().get(pk=request.pk)


def _lock(model: type[Revised], pk: int) -> None:
    """Wait for the bare row, then let the caller read it with all that belongs to it.

    Locked and joined in one statement, PostgreSQL would hold the row's new foreign keys against
    the joined rows of before the wait, and find nothing. Unordered, because an ordering by other
    tables would lock their rows too, and in another order than the next action does.
    """
    held = model._base_manager.select_for_update().order_by().filter(pk=pk).values_list("pk")
    if not held:
        raise NotFound("It is no longer there.")


def must_be(version: Version, *states: str, to: str) -> None:
    """Raise Refused unless the version is in one of the states in which it can be `to`."""
    if version.state not in states:
        wanted = " or ".join(Version.State(state).label for state in states)
        raise Refused(
            f"Version {version.number} is {version.get_state_display()}: "
            f"only a version that is {wanted} can be {to}."
        )


def must_be_at(thing: Version | ChangeRequest, revision: int | None) -> None:
    """Raise Stale if the caller looked at an older revision (None: they did not say)."""
    if revision is not None and revision != thing.revision:
        raise Stale(
            f"{thing} was changed meanwhile: look at its newest state first.",
            thing.revision,
        )


def advance(version: Version, **fields: Any) -> Version:  # noqa: ANN401
    """Write the fields of a locked version and read back what the database made of them."""
    compare_and_set(version, version.revision, **fields)
    version.refresh_from_db()
    return version
