"""Granting a deviation permit, and ending it."""

from collections.abc import Collection, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from django.db.models import F
from django.db.models.functions import Now

from audit.capture.context import Recording, recorded
from audit.errors import Invalid, Refused, Subject
from audit.revision import must_be_at
from people.persons.models import User
from people.persons.permissions import require, require_at_each
from people.persons.verbs import Verb
from people.signatures.signing import Credentials
from recipes.permits import history
from recipes.permits.models import Permit, PermitChange, PermitQuerySet, PermitSlot
from recipes.permits.plan import Changes, PermitPlan, make_permit_plan
from recipes.planning.plan import PERMIT
from recipes.planning.signing import (
    Signer,
    must_acknowledge,
    place,
    say_why,
    settled,
    sign_document,
)
from recipes.requests.decisions import lock_to_permit, note_permitted
from recipes.requests.models import ChangeRequest
from stations.slots.placing import lock_slots, step_back, step_in

OVERTAKEN = "Something else took over every slot that it named."


class Answers(NamedTuple):
    """The request that a permit answers, and its revision as it was read."""

    request: ChangeRequest
    revision: int


def grant(
    *,
    by: User,
    slots: Sequence[int],
    changes: Changes,
    ends_at: datetime,
    seen: str,
    reason: str,
    credentials: Credentials,
    acknowledged: bool = False,
    answers: Answers | None = None,
) -> Permit:
    """Sign a permit and put its settings into force at once.

    ``seen`` is the digest of the plan that was looked at, ``answers`` the request that is answered
    by it. Raises NotPermitted; Invalid (reason, ends_at, slots, changes, acknowledged,
    credentials); Refused when a slot can't have the permit, the plan is no longer what was seen or
    the request is decided; Stale where the request was changed since.
    """
    with recorded(by=by, action=history.PERMIT_GRANTED, reason=reason) as recording:
        require(by, Verb.PERMIT_GRANT)
        reason = say_why(reason, "these slots may differ")
        request = lock_to_permit(by=by, **answers._asdict()) if answers else None
        plan = settled(
            slots=slots,
            make=lambda: make_permit_plan(by=by, slots=slots, changes=changes, ends_at=ends_at),
            seen=seen,
        )
        must_acknowledge(plan, acknowledged)
        if request is not None:
            _must_be_for(request, plan)
        permit = _write(plan, by, reason, credentials.reserved(PERMIT.basis), request)
        signature = sign_document(plan, permit, Signer(by, credentials), recording)
        due = {line.slot.station.machine.site_id: permit.granted_at for line in plan.lines}
        place(plan, signature, due=due, mark=f" · permit {permit.pk}")
        step_in(basis=PERMIT.basis, basis_id=permit.pk)
        if request is not None:
            note_permitted(by=by, request=request, reason=reason)
        return permit


def _must_be_for(request: ChangeRequest, plan: PermitPlan) -> None:
    """Raise Invalid unless every slot is of the bar that asked."""
    if set(plan.site_names) - {request.site_id}:
        slots = [line.slot.pk for line in plan.lines]
        raise Invalid("slots", slots, f"slots of {request.site}, which asked")


def _write(
    plan: PermitPlan, by: User, reason: str, number: int | None, request: ChangeRequest | None
) -> Permit:
    permit = Permit.objects.create(
        pk=number, request=request,
        author=by, reason=reason, ends_at=plan.ends_at, plan_digest=plan.digest,
        accepted=[each.as_json() for each in plan.accepted],
    )  # fmt: skip
    PermitSlot.objects.bulk_create(PermitSlot(permit=permit, slot=line.slot) for line in plan.lines)
    PermitChange.objects.bulk_create(
        PermitChange(permit=permit, code=code, target=value)
        if isinstance(value, Decimal)
        else PermitChange(permit=permit, code=code, text=value)
        for code, value in plan.changes.items()
    )
    return permit


# Ending a permit: by hand before its time, or by the worker when its time is over.


def must_cover(permit: Permit, by: User) -> None:
    """Raise NotPermitted unless they may end permits at every site whose slots this one names."""
    require_at_each(by, Verb.PERMIT_END, reach(permit), _subject(permit))


def reach(permit: Permit) -> frozenset[int]:
    """The sites whose slots it names."""
    # Not permit.slots: somebody who sees a part of them may have fetched that part with it.
    named = PermitSlot.objects.filter(permit=permit)
    return frozenset(named.values_list("slot__station__machine__site_id", flat=True))


def end(*, by: User, permit: Permit, revision: int, reason: str) -> int:
    """End a permit before its time; its slots fall back. Returns how many fell back.

    Raises NotPermitted, Invalid without a reason, Refused when it has ended already, Stale.
    """
    subject = _subject(permit)
    why = say_why(reason, "it ends now")
    with recorded(by=by, action=history.PERMIT_ENDED, reason=why, subject=subject):
        must_cover(permit, by)
        fallen = _end(permit, Permit.objects.filter(revision=revision))
        if fallen is not None:
            return fallen
        if permit.state == Permit.State.IN_FORCE:
            must_be_at(permit, revision)
        raise Refused("This permit has ended already.", subject=subject)


def end_due_permits() -> int:
    """End every permit whose time is over; returns how many. Safe to run twice at once."""
    ended = 0
    for permit in Permit.objects.in_force().filter(ends_at__lte=Now()):
        with _ending(permit, "Its time is over."):
            ended += _end(permit, Permit.objects.all()) is not None
    return ended + _end_overtaken(Permit.objects.overtaken())


def end_overtaken(*, basis: str, ids: Collection[int], **_: object) -> None:
    """End those of these permits whose slots were all taken over, in the same transaction."""
    if basis == PERMIT.basis:
        named = Permit.objects.filter(pk__in=ids).order_by("pk")
        # Of two that take over its last slots at once, the later waits here and sees both. Whoever
        # comes has their slots already, so that nobody waits for one while holding a permit.
        list(named.select_for_update(no_key=True).values_list("pk"))
        _end_overtaken(Permit.objects.overtaken().filter(pk__in=ids))


def _end_overtaken(permits: PermitQuerySet) -> int:
    """Nothing falls back, so that no slot is locked here: whoever took over has locked some.

    A permit that holds no slot never holds one again, whatever happens meanwhile.
    """
    ended = 0
    for permit in permits.order_by("pk"):
        with _ending(permit, OVERTAKEN):
            ended += _over(Permit.objects.filter(pk=permit.pk))
    return ended


def _ending(permit: Permit, reason: str) -> AbstractContextManager[Recording]:
    """By the program itself, unless it happens within what somebody does."""
    subject = _subject(permit)
    return recorded(by=None, action=history.PERMIT_ENDED, reason=reason, subject=subject)


def _over(permits: PermitQuerySet) -> int:
    """Those of them that are in force are over now; returns how many."""
    now = {"ended_at": Now(), "revision": F("revision") + 1}
    return permits.in_force().update(state=Permit.State.ENDED, **now)


def _end(permit: Permit, seen: PermitQuerySet) -> int | None:
    """Compare and set; how many slots fell back, or None where it is no longer in force or seen."""
    named = PermitSlot.objects.filter(permit=permit)
    lock_slots(list(named.values_list("slot_id", flat=True)))
    ended = _over(seen.filter(pk=permit.pk))
    permit.refresh_from_db()
    return step_back(basis=PERMIT.basis, basis_id=permit.pk) if ended else None


def _subject(permit: Permit) -> Subject:
    return Subject("permit", permit.pk, str(permit))
