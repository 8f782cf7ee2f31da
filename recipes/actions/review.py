"""The road of a version to its approval, up to the signature itself."""

from collections.abc import Mapping

from django.db.models.functions import Now

from audit.context import recorded
from audit.errors import Invalid, Refused
from people.models import User
from people.verbs import Verb
from recipes import history
from recipes.actions.locking import advance, lock_version, must_be, must_be_at, subject_of
from recipes.checks import Checks
from recipes.completeness import gaps
from recipes.digest import content_digest
from recipes.formula import stored
from recipes.models import Comment, Publication, Version
from recipes.parameters import PARAMETERS

State = Version.State
COMMENT = 2000  # characters


def submit(*, by: User, version: Version, revision: int | None = None) -> Version:
    """Put a complete draft before a second person; its content is fixed from here on.

    Raises NotPermitted, Refused if it is no draft, Stale, and Invalid for each gap.
    """
    with recorded(by=by, action=history.VERSION_SUBMITTED, subject=subject_of(version)):
        now = lock_version(version, by, Verb.RECIPE_SUBMIT)
        must_be(now, State.DRAFT, to="submitted")
        must_be_at(now, revision)
        problems = gaps(stored(now.formula.all()))
        if problems:
            raise Invalid.of(problems)
        return advance(
            now,
            state=State.IN_REVIEW,
            content_digest=content_digest(now),
            submitted_at=Now(),
            submitted_by=by,
        )


def return_to_author(
    *, by: User, version: Version, comments: Mapping[str, str], revision: int | None = None
) -> Version:
    """Make it a draft again, with at least one comment: by parameter code, "" for the whole.

    Raises NotPermitted, Refused if it is not in review, Stale (what was read came back and was
    submitted anew), Invalid without a usable comment.
    """
    with recorded(by=by, action=history.VERSION_RETURNED, subject=subject_of(version)):
        now = lock_version(version, by, Verb.RECIPE_RETURN)
        must_be(now, State.IN_REVIEW, to="returned")
        must_be_at(now, revision)
        said = {code: text for code, text in comments.items() if text and text.strip()}
        if not said:
            raise Invalid("comments", None, "at least one comment, on the whole or a parameter")
        _write(now, by, said)
        return advance(now, state=State.DRAFT, content_digest="")


def comment(*, by: User, version: Version, text: str, code: str = "") -> Comment:
    """Say something about a version that is not approved yet, or about one of its parameters.

    Raises NotPermitted, Refused once it is decided, Invalid naming text or code.
    """
    with recorded(by=by, action=history.VERSION_COMMENTED, subject=subject_of(version)):
        now = lock_version(version, by, Verb.RECIPE_RETURN)
        must_be(now, State.DRAFT, State.IN_REVIEW, to="commented on")
        return _write(now, by, {code: text})[0]


def withdraw(*, by: User, version: Version, reason: str, revision: int | None = None) -> Version:
    """Take a draft, a version in review or an approved one out of use, for good.

    Slots that hold it keep it until something else is published to them.
    Raises NotPermitted, Refused if it is superseded or withdrawn, Stale (who withdraws a draft
    does not mean what was approved meanwhile), Invalid without a reason. Refused as well while a
    publication of it has slots left to place: the worker would go on placing it.
    """
    checks = Checks()
    reason = checks.text("reason", reason, most=COMMENT, lines=True)
    action = history.VERSION_WITHDRAWN
    with recorded(by=by, action=action, reason=reason, subject=subject_of(version)):
        now = lock_version(version, by, Verb.RECIPE_WITHDRAW)
        must_be(now, State.DRAFT, State.IN_REVIEW, State.APPROVED, to="withdrawn")
        must_be_at(now, revision)
        checks.done()
        _not_on_its_way(now)
        return advance(now, state=State.WITHDRAWN)


def _not_on_its_way(version: Version) -> None:
    """Raise Refused if slots still wait for it. Whoever publishes it waits for the version too."""
    under_way = Publication.objects.under_way().filter(version=version).order_by("pk").first()
    if under_way:
        state = under_way.get_state_display()
        raise Refused(
            f"{under_way} is {state}: slots still wait for this version.".capitalize(),
            how_to_ask="Stop it and cancel the rest, or let it finish; then withdraw.",
        )


def _write(version: Version, by: User, comments: Mapping[str, str]) -> list[Comment]:
    checks = Checks()
    made = []
    for code, text in comments.items():
        known = "one of " + ", ".join(PARAMETERS)
        checks.that(not code or code in PARAMETERS, "code", code, known)
        field = f"comment_{code}" if code else "comment"
        said = checks.text(field, text, most=COMMENT, lines=True)
        made.append(Comment(version=version, by=by, code=code, text=said))
    checks.done()
    return Comment.objects.bulk_create(made)
