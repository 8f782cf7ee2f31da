"""Stopping a publication, letting it go on, or cancelling what it has not placed."""

from django.db import transaction
from django.db.models import F

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Subject
from people.persons.models import User
from people.persons.permissions import require_at_each
from people.persons.verbs import Verb
from recipes.publishing import history
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.sign import start
from recipes.versions.models import Version
from stations.slots.models import Placement
from stations.slots.placing import cancel_scheduled

State = Publication.State
_DONE = {State.STOPPED: "stopped", State.RUNNING: "resumed", State.CANCELLED: "cancelled"}


def must_cover(publication: Publication, by: User) -> None:
    """Raise NotPermitted unless they may stop publications at every site this one goes to."""
    require_at_each(by, Verb.PUBLICATION_STOP, reach(publication), _subject(publication))


def reach(publication: Publication) -> frozenset[int]:
    """The sites it goes to."""
    # Not publication.sites: somebody who sees a part of them may have fetched that part with it.
    parts = PublicationSite.objects.filter(publication=publication)
    return frozenset(parts.values_list("site_id", flat=True))


def stop(*, publication: Publication, by: User, reason: str) -> None:
    """Place nothing more until it is resumed; what is placed stays.

    Raises NotPermitted, Refused, Invalid.
    """
    with recorded(
        by=by,
        action=history.PUBLICATION_STOPPED,
        reason=_because(reason),
        subject=_subject(publication),
    ):
        must_cover(publication, by)
        _move(publication, State.RUNNING, State.STOPPED)


def resume(*, publication: Publication, by: User, reason: str) -> None:
    """Go on where it was stopped. Raises NotPermitted, Refused, Invalid."""
    with recorded(
        by=by,
        action=history.PUBLICATION_RESUMED,
        reason=_because(reason),
        subject=_subject(publication),
    ):
        must_cover(publication, by)
        _move(publication, State.STOPPED, State.RUNNING)
        transaction.on_commit(lambda: start(publication.pk), robust=True)


def cancel(*, publication: Publication, by: User, reason: str) -> int:
    """Give up what a stopped publication has not placed; returns how many slots are free again.

    Raises NotPermitted, Refused, Invalid.
    """
    with recorded(
        by=by,
        action=history.PUBLICATION_CANCELLED,
        reason=_because(reason),
        subject=_subject(publication),
    ):
        must_cover(publication, by)
        _move(publication, State.STOPPED, State.CANCELLED)
        freed = cancel_scheduled(basis=Placement.Basis.PUBLICATION, basis_id=publication.pk)
        PublicationSite.objects.filter(publication=publication).update(
            cancelled=F("slots") - F("placed")
        )
        return freed


def refuse_on_its_way(version: Version) -> None:
    """Raise Refused if slots still wait for it. Whoever publishes it waits for the version too."""
    under_way = Publication.objects.under_way().filter(version=version).order_by("pk").first()
    if under_way:
        state = under_way.get_state_display()
        raise Refused(
            f"{under_way} is {state}: slots still wait for this version.".capitalize(),
            how_to_ask="Stop it and cancel the rest, or let it finish; then withdraw.",
        )


def _move(publication: Publication, origin: State, target: State) -> None:
    """Compare and set: of two people who press at once, one is told what the other did."""
    moved = Publication.objects.filter(pk=publication.pk, state=origin).update(
        state=target, revision=F("revision") + 1
    )
    publication.refresh_from_db()
    if not moved:
        raise Refused(
            f"This publication is {publication.get_state_display()};"
            f" only one that is {origin.label} can be {_DONE[target]}."
        )


def _because(reason: str) -> str:
    if not reason.strip():
        raise Invalid("reason", "", "a sentence that says why")
    return reason.strip()


def _subject(publication: Publication) -> Subject:
    return Subject("publication", publication.pk, str(publication))
