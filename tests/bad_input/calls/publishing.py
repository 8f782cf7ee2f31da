"""Publications, permits and calibrations: what is signed over a plan."""

from datetime import UTC, datetime, timedelta
from typing import Any

from recipes.permits.api import changes_from
from recipes.permits.plan import make_permit_plan
from recipes.publishing.plan import make_plan
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.recalibration.plan import make_retranslation_plan
from stations.calibrations.models import Calibration
from tests.bad_input.call import (
    FOREIGN,
    NOWHERE,
    REASON,
    SIGNATURE,
    Call,
    Values,
    day,
    ends_at,
    signed,
)
from tests.bad_input.things import Things


def publication(t: Things, **rest: object) -> dict[str, Any]:
    """A publication's scope and moment."""
    where = {"where": "sites", "ids": [t.cast.site.pk], "slot_numbers": [2]}
    return {"version": t.newest.pk, **where, "date": day(3), "time": "06:30", **rest}


def signed_publication(t: Things) -> dict[str, Any]:
    """The same with the digest of its plan, and the signature."""
    at, who, now = datetime.now(UTC) + timedelta(days=3), t.cast.head_roaster, datetime.now(UTC)
    when = When(at.date(), at.time().replace(hour=6, minute=30, second=0, microsecond=0))
    scope = Scope(Where.SITES, (t.cast.site.pk,), (2,))
    plan = make_plan(version=t.newest, scope=scope, when=when, by=who, now=now)
    sent = publication(t, date=when.local_date.isoformat() if when.local_date else "")
    return signed(t, "head_roaster", **sent, reason="New crop", seen_digest=plan.digest,
                  acknowledged=True)  # fmt: skip


def permit(t: Things) -> dict[str, Any]:
    """A permit's slots, changes and end."""
    changes = {"brew_temperature": "92.0", "ends_by": "volume"}
    return {"slots": [t.held.pk], "changes": changes, "ends_at": ends_at()}


def signed_permit(t: Things) -> dict[str, Any]:
    """The same with the digest of its plan, and the signature."""
    sent, who = permit(t), t.cast.head_roaster
    plan = make_permit_plan(
        slots=sent["slots"], changes=changes_from(sent["changes"]), by=who,
        ends_at=datetime.fromisoformat(sent["ends_at"]),
    )  # fmt: skip
    return signed(t, "head_roaster", **sent, reason="Gasket", seen_digest=plan.digest,
                  acknowledged=True)  # fmt: skip


SCOPE: Values = {
    "version": FOREIGN,
    "where": ["everywhere", "", "stations\x00"],
    "ids": [[], [NOWHERE], [0], [-1], [2**63], [10**30], ["x"], [None], [[1]]],
    "slot_numbers": [[0], [100], [77], ["1 2"], [10**30]],
    "holds": [NOWHERE, 0, -1, 2**63, 10**30, "x", [1]],
    "every_slot": [True, "x", [1]],
    "date": ["0001-01-01", "9999-12-31", day(800), None],
    "time": [None, "24:00"],
    "lot": [NOWHERE, 0, -1, 2**63, 10**30, "R1", [1]],
}
PERMIT: Values = {
    "slots": [[], [NOWHERE], [0], [2**63], [10**30], ["x"]],
    "changes": [{}, {"dose_mass": "18"}, {"colour": "1"}, {"a\x00": "1"}],
    "changes.ends_by": ["gravity", ""],
    "ends_at": [ends_at(-1), ends_at(500), "0001-01-01T00:00:00Z", "9999-12-31T23:59:59-23:00"],
}
SIGNED: Values = {**SIGNATURE, **REASON}

PUBLISHING = [
    Call("POST", "publication_plan", "head_roaster", publication,
         also={**SCOPE, "site": FOREIGN}),
    Call("POST", "publications", "head_roaster", signed_publication, good=201,
         also={**SCOPE, **SIGNED, "seen_digest": ["0" * 64]}),
    Call("POST", "publication_stop", "head_roaster", thing="wide_publication", good=409,
         body=lambda t: {"reason": "Wait"}, also=REASON),
    Call("POST", "publication_resume", "head_roaster", thing="wide_publication", good=409,
         body=lambda t: {"reason": "Go"}, also=REASON),
    Call("POST", "publication_cancel", "head_roaster", thing="wide_publication", good=409,
         body=lambda t: {"reason": "No"}, also=REASON),
    Call("POST", "publication_site_cancel", "head_roaster", thing="part", good=409,
         body=lambda t: {"reason": "No"}, also=REASON),
    Call("POST", "permit_plan", "head_roaster", permit, also=PERMIT),
    Call("POST", "permits", "head_roaster", signed_permit, good=201,
         also={**PERMIT, **SIGNED, "seen_digest": ["0" * 64]}),
    Call("POST", "permit_requests", "shop_lead", good=201,
         body=lambda t: {**permit(t), "base": t.pk("approved"), "site": "harbour",
                         "reason": "Gasket"},
         also={**PERMIT, **REASON, "base": FOREIGN, "site": ["", "nowhere"]}),
    Call("PUT", "permit_request", "shop_lead", pk=lambda t: t.permit_request(),
         body=lambda t: {**permit(t), "reason": "Gasket"}, also={**PERMIT, **REASON}),
    Call("POST", "permit_end", "head_roaster", thing="permit", body=lambda t: {"reason": "Done"},
         also=REASON),
]  # fmt: skip


def accepted(t: Things) -> dict[str, Any]:
    """The signature under a calibration."""
    calibration = Calibration.objects.get(pk=t.pk("calibration"))
    plan = make_retranslation_plan(calibration=calibration, by=t.cast.head_roaster)
    return signed(t, "head_roaster", reason="Yearly", seen_digest=plan.digest)


CALIBRATIONS = [
    Call("POST", "calibration_accept", "head_roaster", accepted, thing="calibration",
         also={**SIGNATURE, "seen_digest": ["0" * 64]}),
    Call("POST", "calibration_reject", "head_roaster", thing="calibration",
         body=lambda t: {"reason": "Air in it"}, also=REASON),
]  # fmt: skip
