"""What of publications is worth hearing of: stopped, withdrawn from slots, or not loaded."""

from collections.abc import Iterable, Iterator
from datetime import timedelta

from django.contrib.postgres.aggregates import ArrayAgg
from django.db.models import Count
from django.utils import timezone

from people.notices.kinds import Found, Kind, register_kind
from people.persons.verbs import Verb
from recipes.planning.plan import PUBLICATION
from recipes.publishing.loading import UNLOADED
from recipes.publishing.models import Publication, PublicationState
from stations.calibrations.models import Calibration
from stations.slots.models import Placement
from web.printing import counted

NEWS = timedelta(days=14)  # how long it is worth telling that something was withdrawn
A_DAY = timedelta(days=1)


def held() -> Iterable[Found]:
    """Each that is stopped, and for who published it what was withdrawn from slots."""
    yield from _stopped()
    yield from _withdrawn()


def _stopped() -> Iterator[Found]:
    """Until it is resumed or cancelled; named without its sites."""
    rows = Publication.objects.filter(state=PublicationState.STOPPED).with_version()
    for publication in rows.annotate(places=ArrayAgg("sites__site", distinct=True)).order_by("pk"):
        yield Found(
            key=str(publication.pk),
            title=f"Stopped: publication {publication.pk} of {publication.document}",
            words="No more slots get it until somebody resumes it.",
            url=publication.get_absolute_url(),
            sites=tuple(vars(publication)["places"]),
        )


def _withdrawn() -> Iterator[Found]:
    """Where a station was measured anew and can't hold it: whoever accepted that signed it."""
    since = timezone.now() - NEWS
    # By the few calibrations of late: placements have no index by when they ended.
    measured = Calibration.objects.filter(state=Calibration.State.ACCEPTED, decided_at__gte=since)
    gone = Placement.objects.filter(
        slot__station__in=measured.values("station"), state=Placement.State.CANCELLED,
        superseded_by=None, basis=PUBLICATION.basis, ended_at__gte=since,
    )  # fmt: skip
    counts = gone.order_by().values("basis_id", "site", "site__name").annotate(slots=Count("pk"))
    rows = list(counts.order_by("basis_id", "site"))
    made = Publication.objects.with_version().in_bulk([row["basis_id"] for row in rows])
    for row in rows:
        publication = made[row["basis_id"]]
        slots = counted(row["slots"], "slot")
        yield Found(
            key=f"{publication.pk}:{row['site']}:{row['slots']}",
            title=f"Withdrawn from publication {publication.pk} of {publication.document}: {slots}",
            words=f"{row['site__name']}: a calibration was accepted, and what was to come into"
            " force there can't be set with it.",
            url=publication.get_absolute_url(),
            sites=(row["site"],),
            to=publication.author_id,
        )


def unloaded() -> Iterable[Found]:
    """Each that is in force for a day in slots that do not hold it, until they do.

    Whoever signed it waits for the bars; the bars themselves hear of their own slots.
    """
    waiting = Placement.objects.in_force().filter(
        UNLOADED, basis=PUBLICATION.basis, started_at__lt=timezone.now() - A_DAY
    )
    rows = list(
        waiting.order_by("basis_id")
        .values_list("basis_id")
        .annotate(slots=Count("pk"), places=ArrayAgg("site", distinct=True))
    )
    made = Publication.objects.with_version().in_bulk([pk for pk, _, _ in rows])
    for pk, slots, places in rows:
        publication = made[pk]
        yield Found(
            key=str(pk),
            title=f"Not loaded after a day: publication {pk} of {publication.document}",
            words=f"{counted(slots, 'slot')} at {counted(len(places), 'site')} do not hold it yet.",
            url=publication.get_absolute_url(),
            sites=tuple(places),
        )


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("held", "A publication that is held, or withdrawn from slots", Verb.SLOT_READ_BACK,
             held, "recipes:publication")
    )  # fmt: skip
    register_kind(
        Kind("unloaded", "A publication that bars have not loaded", Verb.PUBLICATION_SIGN, unloaded,
             "recipes:publication")
    )  # fmt: skip
