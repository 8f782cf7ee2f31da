"""Stations and slots: which a person may see, and with what at hand."""

from collections.abc import Iterable
from typing import Any, Self

from django.db.models import Case, CharField, Count, F, FilteredRelation, Q, Value, When
from django.db.models.functions import Concat

from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb


class StationQuerySet(SiteScoped[Any]):
    """Questions about stations."""

    site_path = "machine__site"

    def with_equipment(self) -> Self:
        """Stations with machine, site and type at hand, in reading order."""
        return self.select_related("machine__site", "machine__machine_type").order_by(
            "machine__site__name", "machine__name", "number"
        )

    def never_calibrated(self) -> Self:
        """Stations of which no calibration was ever accepted."""
        return self.exclude(calibrations__state="accepted")

    def to_calibrate_anew(self) -> Self:
        """Stations whose flow meter or probe was replaced, and not measured since."""
        meter = Q(replacements__part="flow_meter", pulses_per_millilitre=None)
        probe = Q(replacements__part="probe", temperature_offset=None)
        return self.filter(meter | probe).distinct()

    def with_slot_count(self) -> Self:
        """Stations annotated with ``slot_count``."""
        return self.annotate(slot_count=Count("slots"))


class SlotQuerySet(SiteScoped[Any]):
    """Questions about slots."""

    site_path = "station__machine__site"
    view_verb = Verb.SLOT_VIEW

    def with_equipment(self) -> Self:
        """Slots with station, machine and site at hand, in reading order."""
        return self.select_related("station__machine__site").order_by(
            "station__machine__site__name", "station__machine__name", "station__number", "number"
        )

    def with_condition(self) -> Self:
        """Slots annotated with ``in_force`` (placement id) and ``condition``.

        A condition is one of ``empty``, ``by_hand``, ``to_load``, ``matches``, ``differs`` and
        ``on_permit``; a slot on permit keeps its read-back verdict in ``verdict``.
        """
        # A join, not subqueries: with tens of thousands of slots it is one pass over what is in
        # force, and the partial unique index keeps it at one row a slot.
        current = FilteredRelation("placements", condition=Q(placements__state="in_force"))
        return self.annotate(
            current=current,
            in_force=F("current__pk"),
            manner=F("current__manner"),
            verdict=F("current__verdict"),
        ).annotate(
            condition=Case(
                When(in_force=None, then=Value("empty")),
                When(verdict="differs", then=Value("differs")),
                When(manner="steps_in", then=Value("on_permit")),
                When(manner="by_hand", then=Value("by_hand")),
                When(verdict="unread", then=Value("to_load")),
                default=Value("matches"),
                output_field=CharField(),
            )
        )

    def with_place(self) -> Self:
        """Slots annotated with ``place``: machine, station and slot as one text."""
        return self.annotate(
            place=Concat(
                F("station__machine__name"),
                Value(" · station "),
                F("station__number"),
                Value(" · slot "),
                F("number"),
                output_field=CharField(),
            )
        )

    def waiting(self, everything: bool = False) -> Self:
        """Locked slots that somebody has to key in: not read back yet, or found to differ.

        With ``everything`` those that match as well.
        """
        signed = {"placements__state": "in_force", "placements__signature__isnull": False}
        if not everything:
            signed["placements__verdict__in"] = ["unread", "differs"]
        return self.filter(**signed)

    def count_by_site(self, sites: Iterable[int]) -> dict[int, int]:
        """How many slots each of these sites has."""
        site = "station__machine__site"
        rows = self.filter(**{f"{site}__in": list(sites)}).order_by().values_list(site)
        return dict(rows.annotate(Count("pk")))
