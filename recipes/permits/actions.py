"""Granting a deviation permit."""

import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db.models import F
from django.db.models.functions import Now

from audit.capture.context import Recording, recorded
from audit.errors import Invalid, Refused, Subject
from people.persons.models import User
from people.persons.permissions import require, require_at_each
from people.persons.verbs import Verb
from people.signatures.models import Meaning
from people.signatures.signing import Credentials, sign
from recipes.permits.models import Permit, PermitChange, PermitSlot
from recipes.permits.plan import Changes, PermitPlan, make_permit_plan, refuse_unless_whole
from recipes.publishing import history
from recipes.publishing.sign import MOVED
from recipes.translation.translating import cup_of, quantities, title_of
from stations.slots.models import Placement
from stations.slots.placing import Entitlement, StationSettings, begin_permit, lock_slots, schedule
from stations.slots.placing import end_permit as give_back

Key = tuple[int, str, str]  # station, digest of the version, values


@dataclass(frozen=True)
class PermitOrder:
    """What somebody signs: which slots, what changes, until when, why, and the digest seen."""

    slots: tuple[int, ...]
    changes: Changes
    ends_at: datetime
    reason: str
    seen_digest: str
    acknowledged: bool = False


def grant(*, order: PermitOrder, by: User, credentials: Credentials) -> Permit:
    """Sign a permit and put its settings into force at once.

    Raises NotPermitted; Invalid (reason, ends_at, slots, changes, credentials); Refused when a slot
    can't have the permit or the plan is no longer what was seen.
    """
    with recorded(by=by, action=history.PERMIT_GRANTED, reason=order.reason) as recording:
        require(by, Verb.PERMIT_GRANT)
        if not order.reason.strip():
            raise Invalid("reason", "", "a sentence that says why these slots may differ")
        lock_slots(order.slots)
        plan = make_permit_plan(
            slots=order.slots, changes=order.changes, ends_at=order.ends_at, by=by
        )
        if plan.digest != order.seen_digest:
            raise Refused(MOVED)
        refuse_unless_whole(plan)
        if plan.to_acknowledge and not order.acknowledged:
            raise Invalid(
                "acknowledged",
                "",
                "a tick, which accepts it in your name: " + plan.to_acknowledge[0],
            )
        permit = _write(order, plan, by)
        _sign(permit, plan, by, credentials, recording)
        _place(permit, plan)
        return permit


def _write(order: PermitOrder, plan: PermitPlan, by: User) -> Permit:
    permit = Permit.objects.create(
        author=by, reason=order.reason.strip(), ends_at=order.ends_at, plan_digest=plan.digest,
        acknowledgement="\n".join(plan.to_acknowledge),
    )  # fmt: skip
    PermitSlot.objects.bulk_create(PermitSlot(permit=permit, slot=line.slot) for line in plan.lines)
    PermitChange.objects.bulk_create(
        PermitChange(permit=permit, code=code, target=value)
        if isinstance(value, Decimal)
        else PermitChange(permit=permit, code=code, text=value)
        for code, value in order.changes.items()
    )
    return permit


def _sign(
    permit: Permit, plan: PermitPlan, by: User, credentials: Credentials, recording: Recording
) -> None:
    signature = sign(
        by=by,
        credentials=credentials,
        meaning=Meaning.PERMITTED,
        digest=plan.digest,
        seen=plan.seen,
        subject_type="permit",
        subject_id=permit.pk,
        verb=Verb.PERMIT_GRANT,
    )
    recording.signed(signature.pk)
    permit.signature = signature
    permit.save(update_fields=["signature"])


def _place(permit: Permit, plan: PermitPlan) -> None:
    """One set of control settings for each station, version and values the permit touches."""
    signature = permit.signature
    if signature is None:
        raise RuntimeError("a permit is signed before it is placed")
    groups: dict[Key, list[int]] = {}
    settings: dict[Key, StationSettings] = {}
    for line in plan.lines:
        if line.station is None or line.version is None:
            raise RuntimeError("a permit with a refused slot is not granted")
        digest = line.version.content_digest
        key = (line.station.station_id, digest, json.dumps(line.station.values, sort_keys=True))
        groups.setdefault(key, []).append(line.slot.pk)
        settings[key] = StationSettings(
            line.station.station_id,
            line.station.site_id,
            f"{title_of(line.version)} · permit {permit.pk}",
            digest,
            line.station.values,
            cup_of(quantities(line.version.formula.all())),
        )
    entitlement = Entitlement(Placement.Basis.PERMIT, permit.pk, signature)
    for mine in _calls(groups):
        schedule(
            entitlement=entitlement,
            settings=[settings[key] for key in mine],
            slots=[slot for key in mine for slot in groups[key]],
            due={settings[key].site_id: permit.granted_at for key in mine},
        )
    begin_permit(permit_id=permit.pk)


def _calls(keys: Iterable[Key]) -> list[list[Key]]:
    """Within one call a station has one set of settings."""
    calls: list[list[Key]] = []
    met: Counter[int] = Counter()
    for key in keys:
        if met[key[0]] == len(calls):
            calls.append([])
        calls[met[key[0]]].append(key)
        met[key[0]] += 1
    return calls


# Ending a permit: by hand before its time, or by the worker when its time is over.


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
