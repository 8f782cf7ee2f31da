"""Taking a calibration over: the station's traits and its slots in one signed step."""

from datetime import datetime

from django.db import connection

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Subject
from audit.revision import compare_and_set
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from people.signatures.models import Signature
from people.signatures.signing import Credentials
from recipes.planning.signing import Signer, place, settled, sign_plan
from recipes.recalibration.ahead import hold_waiting, renew_waiting
from recipes.recalibration.plan import RetranslationPlan, make_retranslation_plan
from stations.calibrations.actions import CALIBRATION_ACCEPTED, refuse_if_decided
from stations.calibrations.models import Calibration
from stations.equipment.models import Slot, Station
from stations.slots.placing import bring_into_force, renew_beneath


def accept_calibration(
    *,
    by: User,
    calibration: Calibration,
    revision: int,
    seen: str,
    credentials: Credentials,
    reason: str = "",
) -> Calibration:
    """Set the station's traits and put its approved versions, translated anew, into force.

    ``seen`` is the digest of the plan that was looked at, ``revision`` the calibration's then.
    What can't hold the new settings or was set by hand keeps what it has; a slot on a permit too,
    and falls back to the new settings when that ends. What a publication has scheduled here is
    translated with it, for the same moment, or withdrawn where it can't be held. Raises
    NotPermitted, Invalid (credentials; reason where something speaks against it), Stale, and
    Refused when it was decided already, or the plan is no longer what was seen.
    """
    station = calibration.station
    site_id = station.machine.site_id
    subject = Subject("station", station.pk, str(station))
    with recorded(
        by=by, action=CALIBRATION_ACCEPTED, reason=reason, subject=subject,
        site_id=site_id,
    ) as recording:  # fmt: skip
        require(by, Verb.CALIBRATION_RECORD, site_id, subject)
        hold_waiting(station.pk)
        plan = settled(
            # Whoever plans for these slots reads the station after this, and whoever accepts waits.
            slots=list(Slot.objects.filter(station=station).values_list("pk", flat=True)),
            make=lambda: make_retranslation_plan(by=by, calibration=_held(calibration)),
            seen=seen,
        )
        _must_say_why(plan, reason)
        held = plan.calibration
        signature = sign_plan(plan, held.pk, Signer(by, credentials, site_id), recording)
        moment = _decide(plan, signature, revision, reason.strip())
        _place(plan, signature, moment)
        held.refresh_from_db()
        return held


def _held(calibration: Calibration) -> Calibration:
    """The calibration and its station, locked."""
    refuse_if_decided(calibration)
    Station.objects.select_for_update(no_key=True).get(pk=calibration.station_id)
    rows = Calibration.objects.select_related("station__machine__site")
    held = rows.select_for_update(of=("self",)).get(pk=calibration.pk)
    if gone := held.made_void:
        raise Refused(f"Since this was measured the {gone.get_part_display()} was replaced.")
    return held


def _place(plan: RetranslationPlan, signature: Signature, moment: datetime) -> None:
    """Put what was placed into force, or beneath the permits that keep it waiting."""
    place(plan, signature, due={plan.calibration.station.machine.site_id: moment})
    renew_waiting(plan, signature)
    basis, pk = plan.kind.basis, plan.calibration.pk
    renew_beneath(basis=basis, basis_id=pk)
    bring_into_force(basis=basis, basis_id=pk, at_most=len(plan.lines))


def _must_say_why(plan: RetranslationPlan, reason: str) -> None:
    """Here a reason accepts by name what speaks against it."""
    if plan.concerns and not reason.strip():
        allowed = "a sentence that says why it is accepted although: " + plan.concerns[0]
        raise Invalid("reason", "", allowed)


def _decide(plan: RetranslationPlan, signature: Signature, revision: int, reason: str) -> datetime:
    """Write the decision and the traits; returns the moment by the database's clock."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT statement_timestamp()")
        moment: datetime = cursor.fetchone()[0]
    held = plan.calibration
    compare_and_set(
        held, revision, state=Calibration.State.ACCEPTED, decided_by=signature.user,
        decided_at=moment, reason=reason, plan_digest=plan.digest, signature=signature,
    )  # fmt: skip
    station = Station.objects.get(pk=held.station_id)
    compare_and_set(station, station.revision, **held.traits)
    return moment
