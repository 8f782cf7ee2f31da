"""Signing a plan: from here on the slots' future is settled."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from celery import current_app
from django.db import connection, transaction

from audit.capture.context import Recording, recorded
from audit.errors import Invalid, Refused, Subject
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from people.signatures.models import Meaning
from people.signatures.signing import Credentials, sign
from recipes.publishing import history
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.plan import Line, Outcome, Plan, make_plan
from recipes.publishing.scope import Scope
from recipes.publishing.timing import When
from recipes.translation.translating import cup_of, quantities, title_of
from recipes.versions.models import Version
from stations.slots.models import Placement
from stations.slots.placing import Entitlement, StationSettings, lock_slots, schedule

# A plan may be read for so long while bars log shots; web servers' clocks differ by less.
OLDEST, CLOCKS = timedelta(hours=24), timedelta(minutes=1)
MOVED = "The plan has moved since you looked at it: look at it again before you sign."


@dataclass(frozen=True)
class Order:
    """What somebody signs: what, where, when, why, and the digest of the plan they saw.

    ``learnt_until`` is the plan's own, where stations get water by their shots.
    """

    version: Version
    scope: Scope
    when: When
    reason: str
    seen_digest: str
    acknowledged: bool = False
    learnt_until: datetime | None = None


def publish(*, order: Order, by: User, credentials: Credentials) -> Publication:
    """Sign a plan and write its placements, scheduled for each site's moment.

    Raises NotPermitted; Invalid (reason, acknowledged, credentials); Refused when the version
    is not approved, nothing can be placed, or the plan is no longer what was seen.
    """
    subject = Subject("version", order.version.pk, str(order.version))
    with recorded(
        by=by, action=history.PUBLICATION_SIGNED, reason=order.reason, subject=subject
    ) as recording:
        require(by, Verb.PUBLICATION_SIGN, subject=subject)
        if not order.reason.strip():
            raise Invalid("reason", "", "a sentence that says why it is published")
        version = _approved(order.version)
        plan = _settled_plan(order, version, by)
        publication = _write(order, plan, by)
        _sign(publication, plan, by, credentials, recording)
        _place(publication, plan)
        # robust: with the broker away the signature stands, and the next sweep starts the work.
        transaction.on_commit(lambda: start(publication.pk), robust=True)
        return publication


def _approved(version: Version) -> Version:
    """The version, held so that nobody withdraws or supersedes it before this is signed."""
    held = (
        Version.objects.with_recipe()
        .select_for_update(of=("self",), no_key=True)
        .get(pk=version.pk)
    )
    if held.state != Version.State.APPROVED:
        raise Refused(
            f"Only an approved version can be published; this one is {held.get_state_display()}."
        )
    return held


def _settled_plan(order: Order, version: Version, by: User) -> Plan:
    """The plan as it stands now that nobody else can change it, if it is still the one seen."""
    lock_slots(list(order.scope.slots(by).values_list("pk", flat=True)))
    now, until = _now(), order.learnt_until
    if until is not None and not now - OLDEST <= until <= now + CLOCKS:
        raise Refused(MOVED)
    plan = make_plan(
        version=version, scope=order.scope, when=order.when, by=by, now=now, learnt_until=until
    )
    if plan.digest != order.seen_digest:
        raise Refused(MOVED)
    if not plan.to_place:
        raise Refused("Nothing in this plan can be placed.")
    if plan.to_acknowledge and not order.acknowledged:
        raise Invalid(
            "acknowledged",
            "",
            "a tick, which accepts it in your name: " + plan.to_acknowledge[0],
        )
    return plan


def _now() -> datetime:
    """The transaction's moment by the database's clock, which every web server shares."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT now()")
        moment: datetime = cursor.fetchone()[0]
        return moment


def _write(order: Order, plan: Plan, by: User) -> Publication:
    return Publication.objects.create(
        version=plan.version,
        author=by,
        reason=order.reason.strip(),
        scope=order.scope.as_json(),
        scope_label=plan.scope_label,
        local_date=order.when.local_date,
        local_time=order.when.local_time,
        plan_digest=plan.digest,
        acknowledgement="\n".join(plan.to_acknowledge),
    )


def _sign(
    publication: Publication,
    plan: Plan,
    by: User,
    credentials: Credentials,
    recording: Recording,
) -> None:
    signature = sign(
        by=by,
        credentials=credentials,
        meaning=Meaning.PUBLISHED,
        digest=plan.digest,
        seen=plan.seen,
        subject_type="publication",
        subject_id=publication.pk,
        verb=Verb.PUBLICATION_SIGN,
    )
    recording.signed(signature.pk)
    publication.signature = signature
    publication.save(update_fields=["signature"])


def _place(publication: Publication, plan: Plan) -> None:
    """Write the placements and, site by site, what was refused: a handful of statements."""
    PublicationSite.objects.bulk_create(
        PublicationSite(
            publication=publication,
            site=site,
            due_at=due.at,
            slots=plan.counts(site.pk)[Outcome.PLACE],
            refusals=_refusals(lines),
        )
        for site, due, lines in plan.by_site()
    )
    signature = publication.signature
    if signature is None:
        raise RuntimeError("a publication is signed before it is placed")
    schedule(
        entitlement=Entitlement(Placement.Basis.PUBLICATION, publication.pk, signature),
        settings=_settings(plan),
        slots=[line.target.slot_id for line in plan.to_place],
        due={pk: due.at for pk, due in plan.due.items()},
    )


def _settings(plan: Plan) -> list[StationSettings]:
    title, digest = title_of(plan.version), plan.version.content_digest
    stations = sorted({line.target.station_id for line in plan.to_place})
    cup = cup_of(quantities(plan.version.formula.all()))
    return [
        StationSettings(pk, plan.stations[pk].site_id, title, digest, plan.stations[pk].values, cup)
        for pk in stations
    ]


def _refusals(lines: Sequence[Line]) -> list[dict[str, object]]:
    return [
        {
            "slot": line.target.slot_id,
            "place": line.target.place,
            "reasons": list(line.reasons),
        }
        for line in lines
        if line.outcome is Outcome.REFUSE
    ]


def start(publication_id: int) -> None:
    """Hand a publication to the workers, by name since their module imports this package."""
    current_app.send_task("recipes.tasks.run_publication", [publication_id])
