"""What recipes know of a bar's today: what comes into force next, and permits that end."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from textwrap import shorten

from django.db.models import Count, F
from django.urls import reverse
from django.utils.text import capfirst

from recipes.permits.models import Permit, PermitSlot
from recipes.publishing.models import Publication, PublicationSite
from recipes.requests.answered import unseen_answers
from web.printing import counted, day
from web.today import Asked, Need, register_panel

SOON = timedelta(days=7)  # a permit that ends within a week
ANSWERS = 12  # to one person's requests
EACH = 4  # publications of one site
LAST = datetime.max.replace(tzinfo=UTC)  # where the moment is not known yet


@register_panel(5)
def answered(asked: Asked) -> Iterator[Need]:
    """Requests of this person that were answered, until they say that they have seen it."""
    for change in unseen_answers(asked.user)[:ANSWERS]:
        if change.site_id in asked.clocks:
            words = f"{change.base.recipe}: your request was {change.get_state_display()}"
            yield Need(change.site_id, change.state, words, change.get_absolute_url())


@register_panel(20)
def coming(asked: Asked) -> Iterator[Need]:
    """What comes into force next, by each site's clock; what is being placed right now too."""
    rows = PublicationSite.objects.filter(
        site__in=asked.clocks, slots__gt=F("placed") + F("cancelled")
    ).filter(publication__in=Publication.objects.under_way().values("pk"))
    about = (
        "site", "publication__lot__coffee", "publication__version__recipe__coffee",
        "publication__menu_version__menu",
    )  # fmt: skip
    found = rows.with_begin().select_related(*about)
    shown = dict.fromkeys(asked.clocks, 0)
    for row in sorted(found, key=lambda row: (row.begins_at or LAST, row.pk)):
        shown[row.site_id] += 1
        if shown[row.site_id] > EACH:
            continue
        publication = row.publication
        begins, lot = row.begins_at, publication.lot
        mark = "scheduled" if begins is None or begins > asked.now else "running"
        since = day(row.due_at, row.site.time_zone)  # with a lot, its earliest: once it was signed
        waiting = counted(row.slots - row.placed - row.cancelled, "slot")
        yield Need(
            row.site_id,
            mark if publication.state == Publication.State.RUNNING else publication.state,
            f"{capfirst(str(publication.document))} in {waiting}"
            + (f" when {lot} is opened, waiting since {since}" if begins is None else ""),
            publication.get_absolute_url(),
            when=begins,
        )


@register_panel(25)
def ending(asked: Asked) -> Iterator[Need]:
    """Permits that end within a week, soonest first, at each site where they name slots."""
    ends = {"permit__state": Permit.State.IN_FORCE, "permit__ends_at__lt": asked.now + SOON}
    named = PermitSlot.objects.filter(slot__station__machine__site__in=asked.clocks, **ends)
    rows = named.values(
        "permit", reason=F("permit__reason"), ends=F("permit__ends_at"),
        site=F("slot__station__machine__site"),
    ).annotate(slots=Count("pk")).order_by("ends", "permit")  # fmt: skip
    for row in rows:
        why = shorten(row["reason"], 60, placeholder="…")
        yield Need(
            row["site"],
            "on_permit",
            f"Ends: {counted(row['slots'], 'slot')}, {why}",
            reverse("recipes:permit", args=[row["permit"]]),
            when=row["ends"],
        )
