"""What decisions about documents have in common: their states, and who may sign what they saw."""

from typing import Any, TypeVar

from audit.capture.context import recorded
from audit.errors import Refused
from audit.revision import compare_and_set
from people.persons.models import User
from people.policy.models import Policy
from recipes.versions.document import Document, VersionState

D = TypeVar("D", bound=Document)
SOLE_ROASTER = "sole-roaster policy"


def must_be(document: Document, *states: str, to: str) -> None:
    """Raise Refused unless the document is in one of the states in which it can be `to`."""
    if document.state not in states:
        wanted = " or ".join(VersionState(state).label for state in states)
        raise Refused(
            f"Version {document.number} is {VersionState(document.state).label}: "
            f"only a version that is {wanted} can be {to}."
        )


def advance(document: D, **fields: Any) -> D:  # noqa: ANN401
    """Write the fields of a locked document and read back what the database made of them."""
    compare_and_set(document, document.revision, **fields)
    document.refresh_from_db()
    return document


def is_barred(own: bool) -> bool:
    """Whether somebody may not approve it as their `own` work, the owner's policy considered."""
    return own and not Policy.current().sole_roaster


def four_eyes(own: bool) -> str:
    """The signature's note. Raises Refused for one's own work unless the owner's policy allows."""
    if not own:
        return ""
    if Policy.current().sole_roaster:
        return SOLE_ROASTER
    raise Refused(
        "Nobody approves what they drafted, last edited or requested.",
        who_may="another head roaster",
        how_to_ask="Ask another head roaster to read it and sign.",
    )


def must_be_as_seen(document: Document, digest: str, seen: str) -> None:
    """Raise Refused unless the content (`digest`) is what was submitted and what was `seen`."""
    if not document.content_digest == digest == seen.strip().lower():
        raise Refused(
            "The content moved: it is not what you were shown. Look at it again, then sign.",
            attempted={"content_digest": (document.content_digest, seen[:64])},
        )


def must_be_newest(document: Document, newer: Document | None) -> None:
    """Raise Refused where a newer one was approved meanwhile."""
    if newer:
        raise Refused(
            f"Version {newer.number} was approved meanwhile: an older one can't take its place.",
            how_to_ask=f"Draft a new version from {document.number}, or withdraw this one.",
        )


def supersede(approved: Any, by: User, newer: Document, action: str) -> None:  # noqa: ANN401
    """Let those approved of the same kind, a queryset, give way to the newer one."""
    reason = f"Version {newer.number} was approved."
    with recorded(by=by, action=action, reason=reason):
        # One withdrawn while we waited for its lock is no longer among them.
        for older in approved.order_by().select_for_update():
            advance(older, state=VersionState.SUPERSEDED)
