"""What a head roaster does with a change request: ask back, accept, decline."""

from django.db.models.functions import Now

from audit.capture.context import recorded
from audit.errors import Refused
from audit.revision import compare_and_set, must_be_at
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.requests import history
from recipes.requests.actions import lock_request, must_be_undecided, subject_of
from recipes.requests.models import ChangeRequest, RequestState
from recipes.versions.drafts import begin, lock_recipe
from recipes.versions.models import Version
from web.checks import Checks

State = RequestState
WORDS = 2000  # characters


def ask_back(*, by: User, request: ChangeRequest, revision: int, reason: str) -> ChangeRequest:
    """Put a question to the author before deciding.

    Raises NotPermitted, Refused once decided, Stale, Invalid without a reason.
    """
    return _answer(
        by=by, request=request, revision=revision, reason=reason,
        action=history.REQUEST_ASKED_BACK, state=State.ASKED_BACK,
    )  # fmt: skip


def decline(*, by: User, request: ChangeRequest, revision: int, reason: str) -> ChangeRequest:
    """Say no, and why. Raises as ask_back does."""
    return _answer(
        by=by, request=request, revision=revision, reason=reason,
        action=history.REQUEST_DECLINED, state=State.DECLINED,
    )  # fmt: skip


def accept(*, by: User, request: ChangeRequest, revision: int, note: str = "") -> Version:
    """Draft the next version: the approved one with the proposals applied. Returns the draft.

    Neither the requester nor whoever accepts can approve it. `revision` is that of the request as
    it was read. Raises NotPermitted, Stale, and Refused once decided, without an approved version,
    or if one was approved after the request was made.
    """
    subject, site = subject_of(request), request.site_id
    with recorded(
        by=by, action=history.REQUEST_ACCEPTED, reason=note, subject=subject, site_id=site
    ):
        require(by, Verb.REQUEST_DECIDE, site, subject)
        # Recipe first, as everywhere: an approval meanwhile is seen before or waits.
        lock_recipe(request.base.recipe_id)
        now = lock_request(request)
        must_be_undecided(now)
        must_be_at(now, revision)
        if now.asks_for_permit:
            raise Refused(
                f"Request {now.pk} asks for a permit, not for a change of the recipe.",
                how_to_ask="Grant the permit, or decline it.",
            )
        current = current_version(now)
        if current.pk != now.base_id:
            raise Refused(
                f"Version {current.number} was approved after this request for a change of "
                f"version {now.base.number}: nothing of either may be lost unseen.",
                how_to_ask="Update the request to the current version, then accept it.",
            )
        formula = current.stated | now.proposed
        says = note.strip() or f"Request {now.pk}: {now.reason}"[:WORDS]
        draft = begin(
            by=by, recipe=current.recipe, based_on=current, formula=formula, lot=current.lot,
            note=says, change_request_id=now.pk,
        )  # fmt: skip
        _decide(now, State.ACCEPTED, by, note.strip())
        return draft


def lock_to_permit(*, by: User, request: ChangeRequest, revision: int) -> ChangeRequest:
    """The request, locked, for whoever is about to answer it by a permit in this transaction.

    Raises NotPermitted, Refused once decided, Stale.
    """
    require(by, Verb.REQUEST_DECIDE, request.site_id, subject_of(request))
    now = lock_request(request)
    must_be_undecided(now)
    must_be_at(now, revision)
    return now


def note_permitted(*, by: User, request: ChangeRequest, reason: str) -> None:
    """A signed permit answers the locked request: in the transaction that granted it."""
    subject, site = subject_of(request), request.site_id
    with recorded(
        by=by, action=history.REQUEST_PERMITTED, reason=reason, subject=subject, site_id=site
    ):
        _decide(request, State.PERMITTED, by, reason[:WORDS])


def current_version(request: ChangeRequest) -> Version:
    """The approved version of the request's recipe. Raises Refused if there is none."""
    rows = Version.objects.approved().with_recipe().filter(recipe=request.base.recipe_id)
    current: Version | None = rows.first()
    if current is None:
        raise Refused(
            f"{request.base.recipe} has no approved version any more to apply the request to.",
            how_to_ask="Decline it, or approve a version first.",
        )
    return current


def _answer(
    *,
    by: User,
    request: ChangeRequest,
    revision: int,
    reason: str,
    action: str,
    state: RequestState,
) -> ChangeRequest:
    checks = Checks()
    reason = checks.text("reason", reason, most=WORDS, lines=True)
    subject, site = subject_of(request), request.site_id
    with recorded(by=by, action=action, reason=reason, subject=subject, site_id=site):
        require(by, Verb.REQUEST_DECIDE, site, subject)
        now = lock_request(request)
        must_be_undecided(now)
        must_be_at(now, revision)
        checks.done()
        _decide(now, state, by, reason)
        return now


def _decide(request: ChangeRequest, state: RequestState, by: User, words: str) -> None:
    compare_and_set(
        request,
        request.revision,
        state=state,
        decided_by=by,
        decided_at=Now(),
        decision_reason=words,
    )
    request.refresh_from_db(fields=["decided_at"])
