"""What of publications is worth hearing of: one that was stopped."""

from collections.abc import Iterable

from django.contrib.postgres.aggregates import ArrayAgg

from people.notices.kinds import Found, Kind, register_kind
from people.persons.verbs import Verb
from recipes.publishing.models import Publication, PublicationState


def held() -> Iterable[Found]:
    """Each that is stopped, until it is resumed or cancelled; named without its sites."""
    rows = Publication.objects.filter(state=PublicationState.STOPPED).with_version()
    for publication in rows.annotate(places=ArrayAgg("sites__site", distinct=True)).order_by("pk"):
        yield Found(
            key=str(publication.pk),
            title=f"Stopped: publication {publication.pk} of {publication.version}",
            words="No more slots get it until somebody resumes it.",
            url=publication.get_absolute_url(),
            sites=tuple(vars(publication)["places"]),
        )


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("held", "A publication that is held", Verb.SLOT_READ_BACK, held,
             "recipes:publication")
    )  # fmt: skip
