"""Change requests as their authors make, change and take them back."""

from audit.capture.context import recorded
from audit.errors import Invalid, NotPermitted, Refused, Subject
from audit.revision import compare_and_set, lock
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.formula.formula import Formula, Given, write_rows
from recipes.requests import history
from recipes.requests.evidence import Attached, attach, held_by
from recipes.requests.models import ChangeRequest
from recipes.versions.models import Version
from stations.equipment.models import Site
from web.checks import Checks

State = ChangeRequest.State
REASON, EVIDENCE = 2000, 5000  # characters


def make_request(
    *, by: User, base: Version, site: Site, proposals: Given, reason: str, evidence: str = "",
    attached: Attached | None = None,
) -> ChangeRequest:  # fmt: skip
    """Ask for other values than those of the approved version, on behalf of one site.

    Proposals that say what the version says already are left out. Raises NotPermitted, Refused
    if `base` is not the approved version, Invalid for proposals, reason or evidence.
    """
    subject = Subject("recipe", base.recipe_id, str(base))
    with recorded(by=by, action=history.REQUEST_MADE, subject=subject, site_id=site.pk):
        require(by, Verb.REQUEST_MAKE, site.pk, subject)
        base = Version.objects.with_recipe().get(pk=base.pk)
        _must_be_current(base)
        texts, wanted = texts_of(reason, evidence), _changes(base, proposals)
        request = ChangeRequest.objects.create(base=base, site=site, author=by, **texts)
        write_rows(request.proposals, Formula(), wanted)
        attach(request, attached)
        request.refresh_from_db(fields=["made_at"])
        return request


def change_request(
    *, by: User, request: ChangeRequest, revision: int, proposals: Given, reason: str,
    evidence: str = "", attached: Attached | None = None,
) -> ChangeRequest:  # fmt: skip
    """Change one's own request while it is undecided; one that was asked back opens again.

    What is ``attached`` stays as it is where none is given. Raises NotPermitted for another's,
    Refused once decided, Stale, Invalid.
    """
    with recorded(
        by=by,
        action=history.REQUEST_CHANGED,
        subject=subject_of(request),
        site_id=request.site_id,
    ):
        now = lock_request(request)
        must_be_own(now, by)
        must_be_undecided(now)
        if now.asks_for_permit:
            raise Refused(
                f"Request {now.pk} asks for a permit: it has slots and an end as well.",
                how_to_ask="Change it as a request for a permit.",
            )
        texts, wanted = texts_of(reason, evidence), _changes(now.base, proposals)
        compare_and_set(now, revision, state=State.OPEN, **texts)
        write_rows(now.proposals, now.proposed, wanted)
        attach(now, attached)
        return now


def add_evidence(
    *, by: User, request: ChangeRequest, revision: int, attached: Attached
) -> ChangeRequest:
    """Attach more to one's own undecided request.

    Raises NotPermitted for another's, Refused once decided, Stale, Invalid.
    """
    subject, site = subject_of(request), request.site_id
    with recorded(by=by, action=history.REQUEST_CHANGED, subject=subject, site_id=site):
        now = lock_request(request)
        must_be_own(now, by)
        must_be_undecided(now)
        compare_and_set(now, revision, state=now.state)
        attach(now, held_by(now) | attached)
        return now


def take_back(*, by: User, request: ChangeRequest, revision: int) -> ChangeRequest:
    """Take one's own undecided request back. Raises NotPermitted, Refused once decided, Stale."""
    with recorded(
        by=by,
        action=history.REQUEST_TAKEN_BACK,
        subject=subject_of(request),
        site_id=request.site_id,
    ):
        now = lock_request(request)
        must_be_own(now, by)
        must_be_undecided(now)
        compare_and_set(now, revision, state=State.TAKEN_BACK)
        return now


def lock_request(request: ChangeRequest) -> ChangeRequest:
    """The change request as it is now, locked."""
    lock(ChangeRequest, request.pk)
    return ChangeRequest.objects.with_base().get(pk=request.pk)


def subject_of(request: ChangeRequest) -> Subject:
    """What a history entry about a request is about."""
    return Subject("change request", request.pk, f"request {request.pk}")


def must_be_own(request: ChangeRequest, by: User) -> None:
    """Raise NotPermitted unless they made it and may still ask at that site."""
    require(by, Verb.REQUEST_MAKE, request.site_id, subject_of(request))
    if request.author_id != by.pk:
        raise NotPermitted(
            "Only the person who made a request changes it or takes it back.",
            who_may=request.author.name,
            how_to_ask="A head roaster may ask it back or decline it.",
        )


def must_be_undecided(request: ChangeRequest) -> None:
    """Raise Refused if it was accepted, declined or taken back."""
    if request.state not in {State.OPEN, State.ASKED_BACK}:
        who = f" by {request.decided_by}" if request.decided_by else ""
        raise Refused(
            f"Request {request.pk} is {request.get_state_display()}{who} already.",
            how_to_ask="Make a new request.",
        )


def _must_be_current(base: Version) -> None:
    if base.state == Version.State.APPROVED:
        return
    current = Version.objects.approved().filter(recipe=base.recipe_id).first()
    ask = f"Ask for the change of version {current.number}." if current else ""
    raise Refused(
        f"Version {base.number} is {base.get_state_display()}, not the approved one.",
        how_to_ask=ask,
    )


def _changes(base: Version, proposals: Given) -> Formula:
    """What really differs from the base, checked; at least one thing must."""
    wanted = Formula.read(proposals)
    differing = base.stated.differing(wanted)
    changes = Formula({code: wanted[code] for code in wanted if code in differing})
    if not changes:
        raise Invalid("proposals", None, "at least one value other than the approved version's")
    return changes


def texts_of(reason: str, evidence: str) -> dict[str, str]:
    """Reason and evidence as they are kept. Raises Invalid."""
    checks = Checks()
    texts = {
        "reason": checks.text("reason", reason, most=REASON, lines=True),
        "evidence": checks.text("evidence", evidence, most=EVIDENCE, required=False, lines=True),
    }
    checks.done()
    return texts
