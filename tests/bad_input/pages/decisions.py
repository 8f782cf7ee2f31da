"""Change requests, publications, permits, calibrations: what is decided and signed."""

from datetime import datetime, timedelta
from decimal import Decimal

from recipes.permits.plan import make_permit_plan
from recipes.publishing.plan import make_plan
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.recalibration.plan import make_retranslation_plan
from stations.calibrations.models import Calibration
from tests.bad_input.call import day, signed
from tests.bad_input.form import ENDS, FOREIGN, FORMULA, REASON, STALE, Form, Sent, Values
from tests.bad_input.things import Things


def plan_query(t: Things) -> str:
    """The address of a publication's plan."""
    return f"?where=sites&sites={t.cast.site.pk}&slots=2&date={day(3)}&time=06:30"


def signed_plan(t: Things) -> Sent:
    """The signature under it."""
    moment = datetime.fromisoformat(f"{day(3)}T06:30")
    plan = make_plan(
        version=t.newest, scope=Scope(Where.SITES, (t.cast.site.pk,), (2,)),
        when=When(moment.date(), moment.time()), by=t.cast.head_roaster,
        now=moment.astimezone() - timedelta(days=2),
    )  # fmt: skip
    return signed(t, "head_roaster", seen_digest=plan.digest, reason="New", acknowledged="on")


def permit_query(t: Things) -> str:
    """The address of a permit's plan."""
    chosen = f"slots={t.held.pk}&date={day(3)}&time=06:30&brew_temperature=92.0"
    return f"?slot={t.held.pk}&{chosen}"


def signed_permit(t: Things) -> Sent:
    """The signature under it."""
    ends_at = datetime.fromisoformat(f"{day(3)}T06:30").replace(tzinfo=t.cast.site.zone)
    plan = make_permit_plan(
        slots=[t.held.pk], changes={"brew_temperature": Decimal("92.0")}, ends_at=ends_at,
        by=t.cast.head_roaster,
    )  # fmt: skip
    return signed(t, "head_roaster", seen_digest=plan.digest, reason="Gasket", acknowledged="on")


def accepted(t: Things) -> Sent:
    """The signature under a calibration."""
    calibration = Calibration.objects.get(pk=t.pk("calibration"))
    plan = make_retranslation_plan(calibration=calibration, by=t.cast.head_roaster)
    return signed(t, "head_roaster", seen_digest=plan.digest, revision="1", reason="Yearly")


SIGNATURE: Values = {"password": ["", "wrong"], "email": ["", "barista@example.com"],
                     "seen_digest": ["", "0" * 64]}  # fmt: skip
PROPOSAL = {**FORMULA, "reason": "Sharp", "evidence": "Three shots"}
DECISIONS = [
    Form("request_evidence", "shop_lead", lambda t: {"to": f"{t.pk('request')}-1"},
         query=lambda t: f"?shot={t.pk('shot')}", also={"to": ["", "0-1", "x"]}),
    Form("request_new", "shop_lead", lambda t: {**PROPOSAL, "site": str(t.cast.site.pk)},
         query=lambda t: f"?version={t.pk('approved')}",
         also={**ENDS, **REASON, "site": [*FOREIGN, "2"]}),
    Form("request_edit", "shop_lead", lambda t: {**PROPOSAL, "revision": "1"}, thing="request",
         also={**ENDS, **REASON, "revision": STALE}),
    Form("request_decide", "head_roaster", thing="request",
         sent=lambda t: {"decision": "decline", "reason": "No", "revision": "1"},
         also={**REASON, "decision": ["", "maybe"], "revision": STALE}),
    Form("request_rebase", "shop_lead", pk=lambda t: t.overtaken.pk,
         sent=lambda t: {"brew_temperature": "proposed", "revision": str(t.overtaken.revision),
                         "current": str(t.newest.pk)},
         also={"brew_temperature": ["", "both"], "revision": STALE, "current": FOREIGN}),
    Form("request_take_back", "shop_lead", lambda t: {"revision": "1"}, thing="request",
         also={"revision": STALE}),
    Form("request_seen", "shop_lead", lambda t: {"revision": "1"}, thing="request",
         also={"revision": STALE}),
    Form("publish_plan", "head_roaster", signed_plan, pk=lambda t: t.newest.pk, query=plan_query,
         also={**SIGNATURE, **REASON}),
    *(Form(name, "head_roaster", lambda t: {"reason": "Wait", "revision": "1"},
           thing="wide_publication", also={**REASON, "revision": STALE}, good=409)
      for name in ("publication_stop", "publication_resume", "publication_cancel")),
    Form("publication_site_cancel", "head_roaster", lambda t: {"reason": "Wait", "revision": "1"},
         thing="part", also={**REASON, "revision": STALE}, good=409),
    Form("permit_new", "head_roaster", signed_permit, query=permit_query,
         also={**SIGNATURE, **REASON}),
    Form("permit_ask", "shop_lead", query=lambda t: f"?slot={t.held.pk}",
         sent=lambda t: {"slots": [str(t.held.pk)], "brew_temperature": "92.0", "date": day(3),
                         "time": "06:30", "reason": "Gasket"},
         also={**REASON, "slots": [[], ["0"], ["x"]], "brew_temperature": ["300", "-1"],
               "date": ["", day(-1), day(99)], "time": ["", "25:00"]}),
    Form("permit_end", "head_roaster", lambda t: {"reason": "Done", "revision": "1"},
         thing="permit", also={**REASON, "revision": STALE}),
    Form("calibration_accept", "head_roaster", accepted, thing="calibration",
         also={**SIGNATURE, "revision": STALE}),
    Form("calibration_reject", "head_roaster", thing="calibration",
         sent=lambda t: {"revision": "1", "reason": "Air"},
         also={**REASON, "revision": STALE}),
]  # fmt: skip
