"""What the history calls the changes of versions, and how it shows them."""

from collections.abc import Iterable, Sequence

from audit.registry import (
    register_approval,
    register_content,
    register_subject,
    register_touched,
)
from audit.vocabulary import register as action
from people.signatures.content import signed_rows
from recipes.versions.digest import version_content
from recipes.versions.models import FormulaValue, Version

VERSION_DRAFTED = action("version.drafted", "Drafted version")
VERSION_EDITED = action("version.edited", "Edited draft")
VERSION_REBASED = action("version.rebased", "Moved draft to the approved version")
VERSION_SUBMITTED = action("version.submitted", "Submitted version")
VERSION_RETURNED = action("version.returned", "Returned version")
VERSION_COMMENTED = action("version.commented", "Commented on version")
VERSION_APPROVED = action("version.approved", "Approved version")
VERSION_SUPERSEDED = action("version.superseded", "Superseded version")
VERSION_WITHDRAWN = action("version.withdrawn", "Withdrew version")

DRAFT = "None: a draft"


def register() -> None:
    """Called once, when the program starts."""
    register_subject("version", "Version", "recipes:version")
    register_content("version", version_content)
    register_approval("recipes_version", signed_rows(Version), DRAFT)
    values = signed_rows(FormulaValue, "version__signature")
    register_approval("recipes_formulavalue", values, DRAFT)
    register_touched("recipes_version", lambda rows: [(row, "version", row) for row in rows])
    register_touched(FormulaValue._meta.db_table, _versions_of)


def _versions_of(values: Sequence[int]) -> Iterable[tuple[int, str, int]]:
    """The versions whose formulas these values stand in."""
    rows = FormulaValue.objects.filter(pk__in=values).values_list("pk", "version_id")
    return [(row, "version", version) for row, version in rows]
