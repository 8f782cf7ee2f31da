"""How far a publication has got at one site: when it begins there, and what the bars hold."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Self

from django.db.models import Count, Max, Min, OuterRef, Q, Subquery
from django.db.models.functions import JSONObject
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from recipes.planning.facts import stored_words
from recipes.planning.plan import PUBLICATION
from recipes.publishing.timing import instant_of
from stations.equipment.models import Site
from stations.lots.models import LotOpening
from stations.slots.models import Placement

PUNCTUAL = timedelta(minutes=2)  # a worker that is that much behind is no matter


class PublicationSiteQuerySet(SiteScoped[Any]):
    """Questions about the sites that publications go to."""

    view_verb = Verb.SLOT_VIEW

    def with_loading(self) -> Self:
        """With how far the bars have got (``now``: counts by what was read back, first and last).

        Of what was translated anew since, nothing: that is another signature's.
        """
        unread, differs = (Q(state="in_force", verdict=v) for v in ("unread", "differs"))
        matches = Q(state="in_force", verdict="matches")
        mine = Placement.objects.filter(
            basis=PUBLICATION.basis, basis_id=OuterRef("publication_id"), site=OuterRef("site_id")
        )
        counts = (
            mine.order_by()
            .values("basis_id")
            .annotate(
                now=JSONObject(
                    loaded=Count("pk", filter=matches),
                    to_load=Count("pk", filter=unread),
                    differs=Count("pk", filter=differs),
                    on_permit=Count("pk", filter=Q(state="suspended")),
                    first=Min("started_at"),
                    last=Max("started_at"),
                )
            )
        )
        return self.annotate(now=Subquery(counts.values("now")))

    def with_begin(self) -> Self:
        """With their sites, in order, and when each opened the lot waited for (``opened_at``)."""
        first = LotOpening.objects.filter(
            lot_id=OuterRef("publication__lot"), site=OuterRef("site")
        ).order_by("pk")
        rows = self.select_related("site", "publication__lot__coffee")
        begun = rows.annotate(opened_at=Subquery(first.values("opened_at")[:1]))
        return begun.order_by("due_at", "site__name")


class Progress:
    """What is read of a publication's share of one site (`PublicationSite`)."""

    if TYPE_CHECKING:
        publication: Any
        site: Site
        due_at: datetime
        slots: int
        placed: int
        cancelled: int
        refusals: list[dict[str, Any]]

    @property
    def begins_at(self) -> datetime | None:
        """From when on it is in force here; None until the lot is opened (`with_begin`)."""
        if self.publication.lot_id is None:
            return self.due_at
        opened: datetime | None = self.opened_at  # type: ignore[attr-defined]
        return None if opened is None else max(opened, self.due_at)

    @property
    def waits(self) -> bool:
        """Whether slots here wait for the site to open a lot."""
        return self.begins_at is None and self.placed + self.cancelled < self.slots

    @property
    def busy(self) -> bool:
        """Whether slots here are due by now, and not placed yet (`with_begin`)."""
        begun = self.begins_at is not None and self.begins_at <= timezone.now()
        return begun and self.placed + self.cancelled < self.slots

    # How far the bars have got (`with_loading`).

    def _now(self, count: str) -> int:
        return int((getattr(self, "now", None) or {}).get(count) or 0)

    @property
    def loaded(self) -> int:
        """Slots here that were read back and hold it."""
        return self._now("loaded")

    @property
    def to_load(self) -> int:
        """Slots here where it is in force, and nobody has read it back."""
        return self._now("to_load")

    @property
    def differs(self) -> int:
        """Slots here that were found to hold something else."""
        return self._now("differs")

    @property
    def on_permit(self) -> int:
        """Slots here where a deviation permit stands in for it."""
        return self._now("on_permit")

    @property
    def taken_over(self) -> int:
        """Slots here that something newer has taken over, a translation anew among it."""
        return self.placed - self.loaded - self.to_load - self.differs - self.on_permit

    @property
    def unloaded(self) -> int:
        """Slots here that do not hold it yet, though they should."""
        return self.to_load + self.differs

    @property
    def due(self) -> int:
        """Slots here that are to hold it, now or once they are placed."""
        return self.slots - self.cancelled - self.taken_over - self.on_permit

    @property
    def left(self) -> int:
        """Slots here that are neither placed nor cancelled."""
        return self.slots - self.placed - self.cancelled

    @property
    def went_out(self) -> datetime | None:
        """When the first slot here came into force (`with_loading`)."""
        said = (getattr(self, "now", None) or {}).get("first")
        return parse_datetime(said) if said else None

    @property
    def late(self) -> bool:
        """Whether it went out here later than it was meant to: by more than `PUNCTUAL`."""
        meant, out = self.meant_at or self.begins_at, self.went_out
        return bool(meant and out and out - meant > PUNCTUAL)

    @property
    def meant_at(self) -> datetime | None:
        """The instant here of the day and time that were signed; None where none was."""
        made = self.publication
        if made.local_date is None or made.local_time is None:
            return None
        return instant_of(self.site, made.local_date, made.local_time)

    @property
    def refused(self) -> list[dict[str, Any]]:
        """The refused slots as ``{"slot": id, "place": text, "reasons": [sentence, ...]}``."""
        return [
            {"slot": each["slot"], "place": each["place"], "reasons": _reasons(each)}
            for each in self.refusals
        ]


def _reasons(refused: Mapping[str, Any]) -> list[str]:
    """Why one slot was refused; formerly that was kept in words."""
    if "facts" in refused:
        return [stored_words(fact) for fact in refused["facts"]]
    return list(refused["reasons"])
