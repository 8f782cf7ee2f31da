"""Signing a publication, stopping it, letting it go on, cancelling what it has not placed."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import cast

from django.db import connection, transaction
from django.db.models import F, Q

from audit.capture.context import Recording, recorded
from audit.errors import Refused, Subject
from audit.revision import must_be_at
from people.persons.models import User
from people.persons.permissions import require, require_at_each
from people.persons.verbs import Verb
from people.signatures.signing import Credentials
from recipes.planning.plan import PUBLICATION, Outcome
from recipes.planning.signing import (
    MOVED,
    Signer,
    must_acknowledge,
    place,
    say_why,
    settled,
    sign_document,
)
from recipes.publishing import history
from recipes.publishing.models import Publication, PublicationSite, PublicationState
from recipes.publishing.plan import PublicationLine, PublicationPlan, SitesPlan, make_plan
from recipes.publishing.run import start
from recipes.publishing.scope import Scope
from recipes.publishing.timing import When
from recipes.versions.models import Version
from stations.slots.placing import cancel_scheduled

State = PublicationState
_DONE = {State.STOPPED: "stopped", State.RUNNING: "resumed", State.CANCELLED: "cancelled"}
# A plan may be read for so long while bars log shots; web servers' clocks differ by less.
OLDEST, CLOCKS = timedelta(hours=24), timedelta(minutes=1)


def publish(
    *,
    by: User,
    version: Version,
    scope: Scope,
    when: When,
    seen: str,
    reason: str,
    credentials: Credentials,
    acknowledged: bool = False,
    learnt_until: datetime | None = None,
) -> Publication:
    """Sign a plan and write its placements, scheduled for each site's moment or opening.

    ``seen`` is the digest of the plan that was looked at, ``learnt_until`` that plan's own. Raises
    NotPermitted; Invalid (reason, acknowledged, credentials); Refused when the version is not
    approved, nothing can be placed, or the plan is no longer what was seen.
    """
    subject = Subject("version", version.pk, str(version))
    with recorded(
        by=by, action=history.PUBLICATION_SIGNED, reason=reason, subject=subject
    ) as recording:
        require(by, Verb.PUBLICATION_SIGN, subject=subject)
        reason = say_why(reason, "it is published")
        held, now = _approved(version), moment_of_signing(learnt_until)
        plan = settled(
            slots=list(scope.slots(by).values_list("pk", flat=True)),
            make=lambda: make_plan(
                by=by, version=held, scope=scope, when=when, now=now, learnt_until=learnt_until
            ),
            seen=seen,
        )
        must_acknowledge(plan, acknowledged)
        publication = _write(plan, by, reason, credentials.reserved(PUBLICATION.basis))
        carry_out(plan, publication, Signer(by, credentials), recording)
        return publication


def carry_out(
    plan: SitesPlan, publication: Publication, signer: Signer, recording: Recording
) -> None:
    """Sign what was just written of a settled plan, schedule its placements and start the work."""
    signature = sign_document(plan, publication, signer, recording)
    _share_out(publication, plan)
    place(plan, signature, due={pk: due.at for pk, due in plan.due.items()})
    # robust: with the broker away the signature stands, and the next sweep starts the work.
    transaction.on_commit(lambda: start(publication.pk), robust=True)


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


def moment_of_signing(learnt_until: datetime | None) -> datetime:
    """The transaction's moment by the database's clock, which every web server shares.

    Raises Refused where what the plan was learnt from lies too far back, or ahead.
    """
    with connection.cursor() as cursor:
        # What was learnt is looked at by the clock: a transaction may have begun long ago.
        cursor.execute("SELECT now(), clock_timestamp()")
        moment, clock = cast("tuple[datetime, datetime]", cursor.fetchone())
    if learnt_until is not None and not clock - OLDEST <= learnt_until <= clock + CLOCKS:
        raise Refused(MOVED)
    return moment


def _write(plan: PublicationPlan, by: User, reason: str, number: int | None) -> Publication:
    return Publication.objects.create(
        pk=number,
        version=plan.version,
        author=by,
        reason=reason,
        scope=plan.scope.as_json(),
        scope_label=plan.scope_label,
        local_date=plan.when.local_date,
        local_time=plan.when.local_time,
        lot=plan.when.lot,
        plan_digest=plan.digest,
        accepted=[each.as_json() for each in plan.accepted],
    )


def _share_out(publication: Publication, plan: SitesPlan) -> None:
    """Write, site by site, how many slots are placed and which were refused."""
    PublicationSite.objects.bulk_create(
        PublicationSite(
            publication=publication,
            site=site,
            due_at=due.at,
            slots=sum(line.outcome is Outcome.PLACE for line in lines),
            refusals=_refusals(lines),
        )
        for site, due, lines in plan.by_site()
    )


def _refusals(lines: Sequence[PublicationLine]) -> list[dict[str, object]]:
    return [
        {
            "slot": line.slot.pk,
            "place": line.slot.place,
            "facts": [fact.as_json() for fact in line.facts],
        }
        for line in lines
        if line.outcome is Outcome.REFUSE
    ]


def must_cover(publication: Publication, by: User) -> None:
    """Raise NotPermitted unless they may stop publications at every site this one goes to."""
    require_at_each(by, Verb.PUBLICATION_STOP, reach(publication), _subject(publication))


def reach(publication: Publication) -> frozenset[int]:
    """The sites it goes to."""
    # Not publication.sites: somebody who sees a part of them may have fetched that part with it.
    parts = PublicationSite.objects.filter(publication=publication)
    return frozenset(parts.values_list("site_id", flat=True))


def stop(*, by: User, publication: Publication, revision: int, reason: str) -> None:
    """Place nothing more until it is resumed; what is placed stays.

    Raises NotPermitted, Refused, Stale, Invalid.
    """
    with recorded(
        by=by,
        action=history.PUBLICATION_STOPPED,
        reason=say_why(reason),
        subject=_subject(publication),
    ):
        must_cover(publication, by)
        _move(publication, revision, State.RUNNING, State.STOPPED)


def resume(*, by: User, publication: Publication, revision: int, reason: str) -> None:
    """Go on where it was stopped. Raises NotPermitted, Refused, Stale, Invalid."""
    with recorded(
        by=by,
        action=history.PUBLICATION_RESUMED,
        reason=say_why(reason),
        subject=_subject(publication),
    ):
        must_cover(publication, by)
        _move(publication, revision, State.STOPPED, State.RUNNING)
        transaction.on_commit(lambda: start(publication.pk), robust=True)


def cancel(*, by: User, publication: Publication, revision: int, reason: str) -> int:
    """Give up what a stopped publication has not placed; returns how many slots are free again.

    Raises NotPermitted, Refused, Stale, Invalid.
    """
    with recorded(
        by=by,
        action=history.PUBLICATION_CANCELLED,
        reason=say_why(reason),
        subject=_subject(publication),
    ):
        must_cover(publication, by)
        _move(publication, revision, State.STOPPED, State.CANCELLED)
        freed = cancel_scheduled(basis=PUBLICATION.basis, basis_id=publication.pk)
        PublicationSite.objects.filter(publication=publication).update(
            cancelled=F("slots") - F("placed")
        )
        return freed


def cancel_site(*, by: User, part: PublicationSite, revision: int, reason: str) -> int:
    """Give up what a publication has not placed at one site; the others go on.

    Whoever may stop it there may do this, stopped or not; what is placed stays. Returns how many
    slots are free again. Raises NotPermitted, Refused (nothing is left there, or it would be left
    with no slot at all), Stale, Invalid.
    """
    publication, site_id = part.publication, part.site_id
    subject = _subject(publication)
    with recorded(
        by=by, action=history.SITE_CANCELLED, reason=say_why(reason), subject=subject,
        site_id=site_id,
    ):  # fmt: skip
        require(by, Verb.PUBLICATION_STOP, site_id, subject)
        _hold(publication, revision)
        mine = PublicationSite.objects.filter(pk=part.pk)
        if not mine.filter(slots__gt=F("placed") + F("cancelled")).exists():
            raise Refused("Nothing is left to cancel at this site: what is placed stays.")
        _refuse_nothing_at_all(publication, part)
        freed = cancel_scheduled(basis=PUBLICATION.basis, basis_id=publication.pk, site_id=site_id)
        mine.update(cancelled=F("slots") - F("placed"))
        transaction.on_commit(lambda: start(publication.pk), robust=True)
        return freed


def _hold(publication: Publication, revision: int) -> None:
    """Keep batches and other decisions waiting, and let those who saw the last one look again."""
    under_way = Publication.objects.under_way().filter(pk=publication.pk, revision=revision)
    held = under_way.update(revision=revision + 1)
    publication.refresh_from_db()
    if held:
        return
    if publication.state not in (State.RUNNING, State.STOPPED):
        raise Refused(f"This publication is {publication.get_state_display()}.")
    must_be_at(publication, revision)


def _refuse_nothing_at_all(publication: Publication, part: PublicationSite) -> None:
    """Raise Refused where this would leave a publication that was nowhere and goes nowhere."""
    others = PublicationSite.objects.filter(publication=publication).exclude(pk=part.pk)
    goes_on = others.filter(Q(placed__gt=0) | Q(slots__gt=F("placed") + F("cancelled"))).exists()
    if not goes_on and not PublicationSite.objects.filter(pk=part.pk, placed__gt=0).exists():
        raise Refused(
            "This is the only site it still goes to.",
            how_to_ask="Stop the publication and cancel the rest.",
        )


def refuse_on_its_way(version: Version) -> None:
    """Raise Refused if slots still wait for it. Whoever publishes it waits for the version too."""
    alone, on_a_menu = Q(version=version), Q(menu_version__drinks__version=version)
    under_way = Publication.objects.under_way().filter(alone | on_a_menu).order_by("pk").first()
    if under_way:
        state = under_way.get_state_display()
        raise Refused(
            f"{under_way} is {state}: slots still wait for this version.".capitalize(),
            how_to_ask="Stop it and cancel the rest, or let it finish; then withdraw.",
        )


def _move(publication: Publication, revision: int, origin: State, target: State) -> None:
    """Compare and set: of two people who press at once, one is told what the other did."""
    seen = Publication.objects.filter(pk=publication.pk, state=origin, revision=revision)
    moved = seen.update(state=target, revision=revision + 1)
    publication.refresh_from_db()
    if moved:
        return
    if publication.state != origin:
        raise Refused(
            f"This publication is {publication.get_state_display()};"
            f" only one that is {origin.label} can be {_DONE[target]}."
        )
    must_be_at(publication, revision)


def _subject(publication: Publication) -> Subject:
    return Subject("publication", publication.pk, str(publication))
