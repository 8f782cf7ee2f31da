"""Grinders of a site, the stations each serves, and what was done to each."""

from typing import Any, Self

import pgtrigger
from django.conf import settings as project
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.capture.triggers import FirmTrigger, insert_only, refusal
from audit.revision import Revised
from people.persons.permissions import SiteScoped
from stations.equipment.models import Site, Station, stays
from web.model_fields import ExactDecimalField


class GrinderQuerySet(SiteScoped["Grinder"]):
    """Questions about grinders."""

    def of_station(self, station: Station) -> Self:
        """Those that serve it, by name."""
        return self.filter(serves__station=station).order_by("name")


class Finer(models.TextChoices):
    """Which way a grinder's numbers go."""

    LOWER = "lower", "lower numbers are finer"
    HIGHER = "higher", "higher numbers are finer"


class Grinder(Revised):
    """A grinder with its collar's marks; what it is set to stands in its log.

    ``step`` is the least move of the collar, in marks. ``micrometres_per_mark`` is how much closer
    one mark brings the burrs, where its maker says so.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="grinders")
    name = models.CharField(max_length=80)
    finer = models.CharField(max_length=6, choices=Finer)
    marks_per_turn = ExactDecimalField(null=True, blank=True)
    step = ExactDecimalField(default=1, help_text="the least move of the collar, in marks")
    micrometres_per_mark = ExactDecimalField(null=True, blank=True)

    objects = GrinderQuerySet.as_manager()

    class Meta:
        ordering = ["site", "name"]
        constraints = [
            models.UniqueConstraint(fields=["site", "name"], name="grinder_name_once_per_site"),
            one_of("finer", Finer, name="grinder_direction_is_known"),
            models.CheckConstraint(
                name="grinder_marks_are_plausible",
                condition=Q(step__gt=0, step__lte=100)
                & (Q(marks_per_turn=None) | Q(marks_per_turn__gt=0, marks_per_turn__lte=1000))
                & (Q(micrometres_per_mark=None) | Q(micrometres_per_mark__gt=0)),
            ),
        ]
        triggers = [
            stays("site_id", "A grinder in % stays at its site: enter it anew where it goes."),
            *governed(
                subject="grinder", site_id="n.site_id", label="n.name", exclude=("revision",)
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """The grinder's page."""
        return reverse("stations:grinder", args=[self.pk])

    @property
    def finer_sign(self) -> int:
        """What one mark finer adds to its number: 1 or -1."""
        return 1 if self.finer == Finer.HIGHER else -1


SAME_SITE = FirmTrigger(
    name="a_guard_same_site",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Insert | pgtrigger.Update,
    func=f"""
    IF NOT EXISTS (SELECT 1 FROM stations_station s
        JOIN stations_machine m ON m.id = s.machine_id
        JOIN stations_grinder g ON g.site_id = m.site_id
        WHERE s.id = NEW.station_id AND g.id = NEW.grinder_id)
    THEN {refusal("A grinder in % serves stations of its own site.")} END IF;
    RETURN NEW;
    """,  # noqa: S608 - constants of this module
)


class GrinderStation(models.Model):
    """One station that a grinder serves."""

    grinder = models.ForeignKey(Grinder, models.PROTECT, related_name="serves", db_index=False)
    station = models.ForeignKey(Station, models.PROTECT, related_name="served_by")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["grinder", "station"], name="grinder_serves_a_station_once"
            )
        ]
        triggers = [
            SAME_SITE,
            *governed(
                subject="grinder",
                subject_id="n.grinder_id",
                site_id="l.site_id",
                label="l.name",
                lookup="SELECT g.site_id, g.name FROM stations_grinder g WHERE g.id = n.grinder_id",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.grinder} serves {self.station}"


class GrinderEventQuerySet(SiteScoped["GrinderEvent"]):
    """Questions about what was done to grinders."""

    site_path = "grinder__site"

    def newest_of_each(self) -> Self:
        """One event for each grinder: the newest."""
        return self.order_by("grinder_id", "-id").distinct("grinder_id")


class EventKind(models.TextChoices):
    """What was done to a grinder."""

    SET = "set", "set"
    BURRS = "burrs", "burrs changed"
    REPLACED = "replaced", "replaced"


# New burrs grind otherwise at the same mark: what was learnt before them says nothing after them.
BREAKS = (EventKind.BURRS, EventKind.REPLACED)


class GrinderEvent(models.Model):
    """One line of a grinder's log: what was done, and the mark it stood at afterwards.

    Never changed: a wrong one is followed by a right one.
    """

    grinder = models.ForeignKey(Grinder, models.PROTECT, related_name="events")
    kind = models.CharField(max_length=8, choices=EventKind)
    setting = ExactDecimalField(help_text="the mark afterwards")
    serial_number = models.CharField(max_length=80, blank=True, default="")
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(project.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())

    objects = GrinderEventQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("kind", EventKind, name="grinder_event_kind_is_known"),
            models.CheckConstraint(
                name="grinder_event_says_why_and_where",
                condition=~Q(reason="") & Q(setting__gte=-1000, setting__lte=1000),
            ),
        ]
        triggers: Any = [
            *insert_only("grinder_event"),
            *governed(
                subject="grinder",
                subject_id="n.grinder_id",
                site_id="l.site_id",
                label="l.name",
                lookup="SELECT g.site_id, g.name FROM stations_grinder g WHERE g.id = n.grinder_id",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.grinder}: {self.get_kind_display()} at {self.setting:f}"

    def get_absolute_url(self) -> str:
        """The grinder's page."""
        return reverse("stations:grinder", args=[self.grinder_id])
