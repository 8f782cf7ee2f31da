"""Ending a permit: by hand before its time, or by the worker when its time is over."""

from django.db.models import F
from django.db.models.functions import Now

from audit.context import recorded
from audit.errors import Invalid, Refused
from audit.subject import Subject
from people.models import User
from people.permissions import require_at_each
from people.verbs import Verb
from recipes.models import Permit, PermitSlot
from recipes.publishing import history
from stations.placing import end_permit as give_back
from stations.placing import lock_slots


def must_cover(permit: Permit, by: User) -> None:
    """Raise NotPermitted unless they may end permits at every site whose slots this one names."""
    require_at_each(by, Verb.PERMIT_END, reach(permit), _subject(permit))


def reach(permit: Permit) -> frozenset[int]:
    """The sites whose slots it names."""
    # Not permit.slots: somebody who sees a part of them may have fetched that part with it.
    named = PermitSlot.objects.filter(permit=permit)
    return frozenset(named.values_list("slot__station__machine__site_id", flat=True))


def end(*, permit: Permit, by: User, reason: str) -> int:
    """End a permit before its time; its slots fall back. Returns how many fell back.

    Raises NotPermitted, Invalid without a reason, Refused when it has ended already.
    """
    subject = _subject(permit)
    if not reason.strip():
        raise Invalid("reason", "", "a sentence that says why it ends now")
    with recorded(by=by, action=history.PERMIT_ENDED, reason=reason.strip(), subject=subject):
        must_cover(permit, by)
        fallen = _end(permit)
        if fallen is None:
            raise Refused("This permit has ended already.", subject=subject)
        return fallen


def end_due_permits() -> int:
    """End every permit whose time is over; returns how many. Safe to run twice at once."""
    ended = 0
    for permit in Permit.objects.in_force().filter(ends_at__lte=Now()):
        subject = _subject(permit)
        with recorded(
            by=None, action=history.PERMIT_ENDED, reason="Its time is over.", subject=subject
        ):
            ended += _end(permit) is not None
    return ended


def _end(permit: Permit) -> int | None:
    """Compare and set; how many slots fell back, or None when somebody else was faster."""
    named = PermitSlot.objects.filter(permit=permit)
    lock_slots(list(named.values_list("slot_id", flat=True)))
    ended = Permit.objects.filter(pk=permit.pk, state=Permit.State.IN_FORCE).update(
        state=Permit.State.ENDED, ended_at=Now(), revision=F("revision") + 1
    )
    permit.refresh_from_db()
    return give_back(permit_id=permit.pk) if ended else None


def _subject(permit: Permit) -> Subject:
    return Subject("permit", permit.pk, str(permit))
