"""Ending a permit: by hand before its time, or by the worker when its time is over."""

from django.db.models import F
from django.db.models.functions import Now

from audit.context import recorded
from audit.errors import Invalid, Refused
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.verbs import Verb
from recipes.models import Permit
from recipes.publishing import history
from stations.placing import end_permit as give_back
from stations.placing import lock_slots


def end(*, permit: Permit, by: User, reason: str) -> int:
    """End a permit before its time; its slots fall back. Returns how many fell back.

    Raises NotPermitted, Invalid without a reason, Refused when it has ended already.
    """
    subject = Subject("permit", permit.pk, str(permit))
    if not reason.strip():
        raise Invalid("reason", "", "a sentence that says why it ends now")
    with recorded(by=by, action=history.PERMIT_ENDED, reason=reason.strip(), subject=subject):
        require(by, Verb.PERMIT_END, subject=subject)
        fallen = _end(permit)
        if fallen is None:
            raise Refused("This permit has ended already.", subject=subject)
        return fallen


def end_due_permits() -> int:
    """End every permit whose time is over; returns how many. Safe to run twice at once."""
    ended = 0
    for permit in Permit.objects.in_force().filter(ends_at__lte=Now()):
        subject = Subject("permit", permit.pk, str(permit))
        with recorded(
            by=None, action=history.PERMIT_ENDED, reason="Its time is over.", subject=subject
        ):
            ended += _end(permit) is not None
    return ended


def _end(permit: Permit) -> int | None:
    """Compare and set; how many slots fell back, or None when somebody else was faster."""
    lock_slots(list(permit.slots.values_list("slot_id", flat=True)))
    ended = Permit.objects.filter(pk=permit.pk, state=Permit.State.IN_FORCE).update(
        state=Permit.State.ENDED, ended_at=Now(), revision=F("revision") + 1
    )
    permit.refresh_from_db()
    return give_back(permit_id=permit.pk) if ended else None
