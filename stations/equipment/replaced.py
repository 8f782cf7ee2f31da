"""Parts of the equipment that were replaced, and when: what was known of the old ones is over."""

from datetime import datetime
from typing import Any, Self

import pgtrigger
from django.conf import settings as project
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.models import one_of
from audit.capture.triggers import FirmTrigger, insert_only, refusal
from people.persons.permissions import SiteScoped
from stations.equipment.models import Machine, Site, Station, governed_at_site


class Part(models.TextChoices):
    """What was replaced. Burrs and whole grinders stand in the grinder's own log."""

    FLOW_METER = "flow_meter", "flow meter"
    PROBE = "probe", "temperature probe"
    PUMP = "pump", "pump"
    FILTER = "filter", "water filter"


OF_STATION = (Part.FLOW_METER, Part.PROBE)
# What flows otherwise: control charts begin anew. A probe moves the setting, not the flow.
ENDS_BASELINES = (Part.FLOW_METER, Part.PUMP)
# What each ends, as pages say it beforehand.
ENDS = {
    Part.FLOW_METER: "the flow meter's calibration, and the baselines of this station's charts",
    Part.PROBE: "the temperature offset",
    Part.PUMP: "the baselines of the charts of every station of this machine; calibrations stay",
    Part.FILTER: "the site's earlier water readings no longer count; calibrations stay",
}


class ReplacementQuerySet(SiteScoped["Replacement"]):
    """Questions about what was replaced."""

    def touching(self, station: Station) -> Self:
        """What concerns a station: its own parts, its machine's, its site's."""
        return self.filter(
            Q(station=station)
            | Q(machine=station.machine_id)
            | Q(station=None, machine=None, site=station.machine.site_id)
        )

    def newest_at(self, station: Station, *parts: Part) -> "Replacement | None":
        """The last time one of these was replaced for this station."""
        return self.touching(station).filter(part__in=parts).order_by("-at", "-id").first()


WHERE = FirmTrigger(
    name="a_guard_where",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func=f"""
    IF NEW.station_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM stations_station s
            JOIN stations_machine m ON m.id = s.machine_id
            WHERE s.id = NEW.station_id AND m.site_id = NEW.site_id)
        OR NEW.machine_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM stations_machine m
            WHERE m.id = NEW.machine_id AND m.site_id = NEW.site_id)
        OR NEW.at > clock_timestamp()
    THEN {refusal("A part in % was replaced at its own site, and not in the future.")} END IF;
    RETURN NEW;
    """,  # noqa: S608 - constants of this module
)


class Replacement(models.Model):
    """One part that was replaced: of a station, a machine (pump) or a site (filter).

    Never changed: a wrong one is followed by a right one.
    """

    part = models.CharField(max_length=10, choices=Part)
    site = models.ForeignKey(Site, models.PROTECT, related_name="replacements")
    machine = models.ForeignKey(
        Machine, models.PROTECT, related_name="replacements", null=True, blank=True
    )
    station = models.ForeignKey(
        Station, models.PROTECT, related_name="replacements", null=True, blank=True
    )
    old_serial = models.CharField(max_length=80, blank=True, default="")
    new_serial = models.CharField(max_length=80, blank=True, default="")
    reason = models.CharField(max_length=500)
    at = models.DateTimeField(help_text="when it was replaced")
    by = models.ForeignKey(project.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    noted_at = models.DateTimeField(db_default=Now())

    objects = ReplacementQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("part", Part, name="replacement_part_is_known"),
            models.CheckConstraint(
                name="replacement_is_where_its_part_is",
                condition=Q(part__in=OF_STATION, station__isnull=False, machine=None)
                | Q(part="pump", machine__isnull=False, station=None)
                | Q(part="filter", machine=None, station=None),
            ),
            models.CheckConstraint(name="replacement_says_why", condition=~Q(reason="")),
        ]
        triggers: Any = [WHERE, *insert_only("replacement"), *governed_at_site()]

    def __str__(self) -> str:
        return f"{self.get_part_display()} replaced"

    def get_absolute_url(self) -> str:
        """Where it was replaced."""
        if self.station_id:
            return reverse("stations:station", args=[self.station_id])
        if self.machine_id:
            return reverse("stations:machine", args=[self.machine_id])
        return reverse("stations:site", args=[self.site_id])


def baselines_end(station: Station) -> datetime | None:
    """The moment before which nothing a station poured says how it pours now; None: never."""
    newest = Replacement.objects.newest_at(station, *ENDS_BASELINES)
    return newest.at if newest else None
