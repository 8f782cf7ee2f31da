"""Variants of a draft: what it says to machines of one type, written, edited and removed."""

from collections.abc import Callable

from audit.capture.context import recorded
from audit.errors import Invalid, Refused
from audit.revision import compare_and_set, must_be_at
from people.persons.models import User
from people.persons.verbs import Verb
from recipes.formula.formula import Formula, Given
from recipes.variants import history
from recipes.versions.deciding import must_be
from recipes.versions.drafts import lock_version, subject_of, write_variant
from recipes.versions.models import Version
from stations.machine_types.models import MachineType


def set_variant(
    *, by: User, version: Version, machine_type: MachineType, revision: int, values: Given
) -> Version:
    """Make a draft say exactly `values` to machines of this type; write only what differs.

    Nothing different: nothing is written, and the last editor stays who it was.
    Raises NotPermitted, Invalid with every problem, Refused if no draft, Stale if it moved on.
    """

    def read(_before: Formula) -> Formula:
        formula = Formula.read(values)
        if not formula:
            raise Invalid("formula", None, "at least one parameter; or remove the variant")
        return formula

    act = history.VARIANT_EDITED
    return _write(by, version, revision, machine_type=machine_type, make=read, action=act)


def remove_variant(
    *, by: User, version: Version, machine_type: MachineType, revision: int
) -> Version:
    """Let a draft say nothing of its own to machines of this type.

    Raises NotPermitted, Refused if it is no draft or has no such variant, Stale if it moved on.
    """

    def nothing(before: Formula) -> Formula:
        if not before:
            raise Refused(f"{version} has no variant for {machine_type}.")
        return Formula()

    act = history.VARIANT_REMOVED
    return _write(by, version, revision, machine_type=machine_type, make=nothing, action=act)


def _write(
    by: User,
    version: Version,
    revision: int,
    *,
    machine_type: MachineType,
    make: Callable[[Formula], Formula],
    action: str,
) -> Version:
    with recorded(by=by, action=action, subject=subject_of(version)):
        now = lock_version(version, by, Verb.RECIPE_DRAFT)
        must_be(now, Version.State.DRAFT, to="edited")
        must_be_at(now, revision)
        before = now.stated_for(machine_type.pk)
        after = make(before)
        if before.differing(after):
            compare_and_set(now, revision, last_editor=by)
            write_variant(now, machine_type.pk, before, after)
        return now
