"""What of permits is worth hearing of: those that end within a week."""

from collections.abc import Iterable
from datetime import timedelta
from textwrap import shorten

from django.contrib.postgres.aggregates import ArrayAgg
from django.utils import timezone

from people.notices.kinds import Found, How, Kind, register_kind
from people.persons.verbs import Verb
from recipes.permits.models import Permit
from web.printing import moment

AHEAD = timedelta(days=7)
LENGTH = 300  # characters of a reason


def ending() -> Iterable[Found]:
    """Each once, for everybody at a site that it names."""
    rows = Permit.objects.in_force().filter(ends_at__lt=timezone.now() + AHEAD).with_zone()
    sites = ArrayAgg("slots__slot__station__machine__site", distinct=True)
    for permit in rows.annotate(places=sites):
        noted = vars(permit)
        yield Found(
            key=str(permit.pk),
            title=f"Permit {permit.pk} ends {moment(permit.ends_at, noted['zone'])}",
            words=shorten(permit.reason, LENGTH, placeholder="…"),
            url=permit.get_absolute_url(),
            sites=tuple(noted["places"]),
        )


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("permit_ends", "A permit that ends", Verb.REQUEST_MAKE, ending, "recipes:permit",
             usual=How.DAILY)
    )  # fmt: skip
