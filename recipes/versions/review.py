"""What is decided about a version: submitted, returned, commented on, approved, withdrawn."""

from collections.abc import Callable, Mapping

from django.db.models.functions import Now

from audit.capture.context import recorded
from audit.errors import Invalid
from audit.revision import must_be_at
from people.persons.models import User
from people.persons.verbs import Verb
from people.signatures.models import Meaning
from people.signatures.signing import Credentials, sign
from recipes.coffees.models import Coffee
from recipes.formula.parameters import PARAMETERS
from recipes.versions import history
from recipes.versions.complete import faults_of
from recipes.versions.deciding import (
    advance,
    four_eyes,
    is_barred,
    must_be,
    must_be_as_seen,
    must_be_newest,
    supersede,
)
from recipes.versions.digest import content_digest
from recipes.versions.drafts import lock_recipe, lock_version, subject_of
from recipes.versions.models import Comment, Version
from recipes.versions.questions import answer_questions
from web.checks import Checks

State = Version.State
COMMENT = 2000  # characters


def submit(
    *, by: User, version: Version, revision: int, answers: Mapping[str, str] | None = None
) -> Version:
    """Put a complete draft before a second person; its content is fixed from here on.

    ``answers`` says why what is unusual is meant so, by question (`questions.questions_about`);
    reasons given before for the same values stand. Raises NotPermitted, Refused if it is no draft,
    Stale, and Invalid for each gap, each value that cannot be, and each question left open.
    """
    with recorded(by=by, action=history.VERSION_SUBMITTED, subject=subject_of(version)):
        now = lock_version(version, by, Verb.RECIPE_SUBMIT)
        must_be(now, State.DRAFT, to="submitted")
        must_be_at(now, revision)
        problems = faults_of(now)
        if problems:
            raise Invalid.of(problems)
        answer_questions(by=by, version=now, answers=answers or {})
        return advance(
            now,
            state=State.IN_REVIEW,
            content_digest=content_digest(now),
            submitted_at=Now(),
            submitted_by=by,
        )


def return_to_author(
    *, by: User, version: Version, revision: int, comments: Mapping[str, str]
) -> Version:
    """Make it a draft again, with at least one comment: by parameter code, "" for the whole.

    Raises NotPermitted, Refused if it is not in review, Stale (what was read came back and was
    submitted anew), Invalid without a usable comment.
    """
    with recorded(by=by, action=history.VERSION_RETURNED, subject=subject_of(version)):
        now = lock_version(version, by, Verb.RECIPE_RETURN)
        must_be(now, State.IN_REVIEW, to="returned")
        must_be_at(now, revision)
        written = {code: text for code, text in comments.items() if text and text.strip()}
        if not written:
            raise Invalid("comments", None, "at least one comment, on the whole or a parameter")
        _write(now, by, written)
        return advance(now, state=State.DRAFT, content_digest="")


def comment(*, by: User, version: Version, text: str, code: str = "") -> Comment:
    """Say something about a version that is not approved yet, or about one of its parameters.

    Raises NotPermitted, Refused once it is decided, Invalid naming text or code.
    """
    with recorded(by=by, action=history.VERSION_COMMENTED, subject=subject_of(version)):
        now = lock_version(version, by, Verb.RECIPE_RETURN)
        must_be(now, State.DRAFT, State.IN_REVIEW, to="commented on")
        return _write(now, by, {code: text})[0]


def approve(*, by: User, version: Version, seen: str, credentials: Credentials) -> Version:
    """Sign a version in review; the recipe's approved version so far becomes superseded.

    `seen` is the content digest that the signer was shown. Raises NotPermitted, Invalid for the
    password, and Refused if the version is not in review, is the signer's own work, moved since
    it was seen, or is older than one approved meanwhile.
    """
    with recorded(by=by, action=history.VERSION_APPROVED, subject=subject_of(version)) as recording:
        recipe = lock_recipe(version.recipe_id)
        now = lock_version(version, by, Verb.RECIPE_APPROVE)
        must_be(now, State.IN_REVIEW, to="approved")
        note = four_eyes(own_work(now, by))
        must_be_as_seen(now, content_digest(now), seen)
        must_be_newest(now, _newer(now))
        signature = sign(
            by=by,
            credentials=credentials,
            meaning=Meaning.APPROVED,
            digest=now.content_digest,
            subject_type="version",
            subject_id=now.pk,
            verb=Verb.RECIPE_APPROVE,
            note=note,
        )
        recording.signed(signature.pk)
        current = Version.objects.approved().filter(recipe=recipe)
        supersede(current, by, now, history.VERSION_SUPERSEDED)
        with recorded(by=by, action=history.VERSION_APPROVED, reason=note):
            return advance(now, state=State.APPROVED, signature=signature)


def own_work(version: Version, user: User) -> bool:
    """Whether they drafted, last edited or requested it, and so may not approve it."""
    request = version.change_request
    asked_by = request.author_id if request else None
    return user.pk in {version.author_id, version.last_editor_id, asked_by}


def barred(version: Version, user: User) -> bool:
    """Whether they may not approve it as their own work, the owner's policy considered."""
    return is_barred(own_work(version, user))


def _newer(version: Version) -> Version | None:
    later = Version.objects.filter(recipe=version.recipe_id, number__gt=version.number)
    return later.filter(signature__isnull=False).first()


WithdrawalCheck = Callable[[Version], None]
"""Raises Refused while a version, whose row is locked, is needed where it is."""

_withdrawal_checks: list[WithdrawalCheck] = []


def register_withdrawal_check(check: WithdrawalCheck) -> None:
    """Called when the program starts, by the packages that use versions."""
    _withdrawal_checks.append(check)


def withdraw(*, by: User, version: Version, revision: int, reason: str) -> Version:
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
        for check in _withdrawal_checks:
            check(now)
        return advance(now, state=State.WITHDRAWN)


def names_coffee(coffee: Coffee) -> bool:
    """Whether a version that was submitted names it: the name is part of what is signed."""
    return Version.objects.filter(recipe__coffee=coffee).sealed().exists()


def _write(version: Version, by: User, comments: Mapping[str, str]) -> list[Comment]:
    checks = Checks()
    made = []
    for code, given in comments.items():
        known = "one of " + ", ".join(PARAMETERS)
        checks.that(not code or code in PARAMETERS, "code", code, known)
        field = f"comment_{code}" if code else "comment"
        text = checks.text(field, given, most=COMMENT, lines=True)
        made.append(Comment(version=version, by=by, code=code, text=text))
    checks.done()
    return Comment.objects.bulk_create(made)
