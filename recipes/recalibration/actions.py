"""Taking a calibration over: the station's traits and its slots in one signed step."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from django.db import connection

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Subject
from audit.revision import compare_and_set
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from people.signatures.models import Meaning, Signature
from people.signatures.signing import Credentials, sign
from recipes.publishing.sign import MOVED
from recipes.recalibration.plan import RetranslationPlan, SlotLine, make_retranslation_plan
from recipes.translation.translating import cup_of, quantities, title_of
from stations.calibrations.actions import CALIBRATION_ACCEPTED, refuse_if_decided
from stations.calibrations.models import Calibration
from stations.equipment.models import Slot, Station
from stations.slots.models import Placement
from stations.slots.placing import (
    Entitlement,
    StationSettings,
    bring_into_force,
    lock_slots,
    schedule,
    wait_beneath_permits,
)

BASIS = Placement.Basis.RE_TRANSLATION


@dataclass(frozen=True)
class AcceptOrder:
    """What somebody signs: which calibration, at which revision, why, and the digest seen."""

    calibration: Calibration
    seen_revision: int
    seen_digest: str
    reason: str = ""


def accept_calibration(*, order: AcceptOrder, by: User, credentials: Credentials) -> Calibration:
    """Set the station's traits and put its approved versions, translated anew, into force.

    Slots that can't hold the new settings or were set by hand keep what they have; those on a
    permit keep it too, and fall back to the new settings when it ends. Raises NotPermitted,
    Invalid (credentials; reason where something speaks against it), Stale, and Refused when it
    was decided already, a publication is on its way to the station, or the plan is no longer
    what was seen.
    """
    station = order.calibration.station
    site_id = station.machine.site_id
    subject = Subject("station", station.pk, str(station))
    with recorded(
        by=by, action=CALIBRATION_ACCEPTED, reason=order.reason, subject=subject,
        site_id=site_id,
    ) as recording:  # fmt: skip
        require(by, Verb.CALIBRATION_RECORD, site_id, subject)
        # Whoever plans for these slots reads the station after this, and whoever accepts waits.
        slots = list(Slot.objects.filter(station=station).values_list("pk", flat=True))
        lock_slots(slots)
        held = _held(order)
        plan = make_retranslation_plan(calibration=held, by=by)
        _refuse_unless_settled(plan, order)
        signature = _sign(plan, by, credentials)
        recording.signed(signature.pk)
        moment = _decide(held, order, plan, signature)
        _place(plan, signature, moment)
        held.refresh_from_db()
        return held


def _held(order: AcceptOrder) -> Calibration:
    """The calibration and its station, locked."""
    refuse_if_decided(order.calibration)
    Station.objects.select_for_update(no_key=True).get(pk=order.calibration.station_id)
    rows = Calibration.objects.select_related("station__machine__site")
    return rows.select_for_update(of=("self",)).get(pk=order.calibration.pk)


def _refuse_unless_settled(plan: RetranslationPlan, order: AcceptOrder) -> None:
    if plan.waiting:
        first = plan.waiting[0]
        raise Refused(
            f"{first.settings} is on its way to this station, translated by the calibration so"
            f" far: {first.slot} and {len(plan.waiting) - 1} more wait for it.",
            who_may="anybody who may accept, once the publication is through",
            how_to_ask="Wait until it is in force, or ask a head roaster to cancel the rest of it.",
        )
    if plan.digest != order.seen_digest:
        raise Refused(MOVED)
    if plan.concerns and not order.reason.strip():
        allowed = "a sentence that says why it is taken over although: " + plan.concerns[0]
        raise Invalid("reason", "", allowed)


def _sign(plan: RetranslationPlan, by: User, credentials: Credentials) -> Signature:
    return sign(
        by=by,
        credentials=credentials,
        meaning=Meaning.RE_TRANSLATED,
        digest=plan.digest,
        seen=plan.seen,
        subject_type=BASIS,
        subject_id=plan.calibration.pk,
        verb=Verb.CALIBRATION_RECORD,
        site_id=plan.calibration.station.machine.site_id,
    )


def _decide(
    held: Calibration, order: AcceptOrder, plan: RetranslationPlan, signature: Signature
) -> datetime:
    """Write the decision and the traits; returns the moment by the database's clock."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT statement_timestamp()")
        moment: datetime = cursor.fetchone()[0]
    compare_and_set(
        held, order.seen_revision, state=Calibration.State.ACCEPTED, decided_by=signature.user,
        decided_at=moment, reason=order.reason.strip(), plan_digest=plan.digest,
        signature=signature,
    )  # fmt: skip
    station = Station.objects.get(pk=held.station_id)
    compare_and_set(station, station.revision, **held.traits)
    return moment


def _place(plan: RetranslationPlan, signature: Signature, moment: datetime) -> None:
    """One call of schedule for each version: within one call a station has one set of settings."""
    pk, site_id = plan.calibration.pk, plan.calibration.station.machine.site_id
    for settings, slots in _groups(plan.to_place):
        schedule(
            entitlement=Entitlement(BASIS, pk, signature),
            settings=[settings],
            slots=slots,
            due={site_id: moment},
        )
    wait_beneath_permits(calibration_id=pk)
    bring_into_force(basis=BASIS, basis_id=pk, at_most=len(plan.lines))


def _groups(lines: list[SlotLine]) -> Iterator[tuple[StationSettings, list[int]]]:
    ordered = sorted(lines, key=_digest)
    for digest, group in groupby(ordered, key=_digest):
        mine = list(group)
        version, new = mine[0].version, mine[0].translation
        if version is None or new is None:
            raise RuntimeError("a slot that is placed has a version and its translation")
        cup = cup_of(quantities(version.formula.all()))
        yield (
            StationSettings(
                new.station_id, new.site_id, title_of(version), digest, new.values, cup
            ),
            [line.slot.pk for line in mine],
        )


def _digest(line: SlotLine) -> str:
    return line.replaced.settings.content_digest
