"""Who stopped, resumed or cancelled a publication, and why: as the history has it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from audit.capture.models import Entry, Operation
from recipes.publishing import history
from recipes.publishing.models import Publication, PublicationSite

WORDS = {
    history.PUBLICATION_STOPPED: "Stopped",
    history.PUBLICATION_RESUMED: "Resumed",
    history.PUBLICATION_CANCELLED: "Cancelled what was left",
    history.SITE_CANCELLED: "Cancelled",
}


@dataclass(frozen=True, slots=True)
class Decided:
    """One decision about a publication; ``site`` where it was about one alone."""

    action: str
    by: str
    at: datetime
    reason: str
    site: str

    @property
    def words(self) -> str:
        """What was done."""
        return WORDS[self.action]


def decisions(publication: Publication, names: Mapping[int, str]) -> list[Decided]:
    """Every decision about all of it, or about one of these sites (by id); the newest first.

    One query.
    """
    whole = Q(table_name=Publication._meta.db_table)
    one = Q(table_name=PublicationSite._meta.db_table, site_id__in=names)
    rows = Entry.objects.filter(
        whole & ~Q(action=history.SITE_CANCELLED) | one & Q(action=history.SITE_CANCELLED),
        subject_type="publication",
        subject_id=publication.pk,
        action__in=WORDS,
        operation=Operation.CHANGED,
    )
    told = rows.order_by("-id").values_list("action", "actor", "at", "reason", "site_id")
    return [
        Decided(action, actor, at, reason, names.get(site_id or 0, ""))
        for action, actor, at, reason, site_id in told
    ]
