"""Lots as they were opened and finished, at a grinder or at a station by itself."""

from datetime import date, datetime
from typing import Self

import pgtrigger
from django.conf import settings as project
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.triggers import FirmTrigger, refusal
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from stations.equipment.models import Site, Station
from stations.grinders.models import Grinder
from stations.lots.shelf import READY, Aged, aged


class LotOpeningQuerySet(SiteScoped["LotOpening"]):
    """Questions about opened lots."""

    view_verb = Verb.SLOT_VIEW

    def open(self) -> Self:
        """What is brewed now."""
        return self.filter(closed_at=None)

    def open_then(self, moment: datetime) -> Self:
        """What was brewed at that moment."""
        over = Q(closed_at=None) | Q(closed_at__gt=moment)
        return self.filter(over, opened_at__lte=moment)

    def with_place(self) -> Self:
        """With everything a list of them prints."""
        return self.select_related("site", "grinder", "station__machine", "opened_by", "closed_by")


# A bag that was opened stays opened: only its end is added, once.
FIXED = FirmTrigger(
    name="a_guard_opened",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Update | pgtrigger.Delete,
    func=f"""
    IF TG_OP = 'DELETE' OR OLD.closed_at IS NOT NULL OR NEW.closed_at IS NULL
        OR (to_jsonb(NEW) - 'closed_at' - 'closed_by_id')
            IS DISTINCT FROM (to_jsonb(OLD) - 'closed_at' - 'closed_by_id')
    THEN {refusal("A lot in % that was opened is only closed, once.")} END IF;
    RETURN NEW;
    """,
)
AT_ITS_SITE = FirmTrigger(
    name="a_guard_at_its_site",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func=f"""
    IF NEW.roasted_on > (NEW.opened_at AT TIME ZONE 'UTC')::date + 1
    THEN {refusal("A lot in % is opened once it is roasted.")} END IF;
    IF NOT EXISTS (SELECT 1 FROM stations_grinder g
            WHERE g.id = NEW.grinder_id AND g.site_id = NEW.site_id)
        AND NOT EXISTS (SELECT 1 FROM stations_station s
            JOIN stations_machine m ON m.id = s.machine_id
            WHERE s.id = NEW.station_id AND m.site_id = NEW.site_id)
    THEN {refusal("A lot in % is opened at the site of its grinder or station.")} END IF;
    RETURN NEW;
    """,  # noqa: S608 - constants of this module
)


class LotOpening(models.Model):
    """A bag opened at a grinder, or at a station that has none of its own.

    What the lot was is kept with it: ``lot_id`` is the id of the roast lot in the words of the
    package above, which has the database hold that it exists. ``state`` is how it stood at that
    moment; one that was not ready was opened for a reason.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="+", db_index=False)
    grinder = models.ForeignKey(
        Grinder, models.PROTECT, null=True, blank=True, related_name="openings"
    )
    station = models.ForeignKey(
        Station, models.PROTECT, null=True, blank=True, related_name="openings"
    )
    lot_id = models.BigIntegerField()
    coffee = models.CharField(max_length=80)
    code = models.CharField(max_length=40)
    roasted_on = models.DateField()
    rest_from = models.PositiveSmallIntegerField()
    rest_to = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=8)
    reason = models.CharField(max_length=500, blank=True, default="")
    opened_at = models.DateTimeField(db_default=Now())
    opened_by = models.ForeignKey(project.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        project.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = LotOpeningQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["grinder"], condition=Q(closed_at=None), name="lot_one_open_per_grinder"
            ),
            models.UniqueConstraint(
                fields=["station"], condition=Q(closed_at=None), name="lot_one_open_per_station"
            ),
            models.CheckConstraint(
                name="lot_opened_at_a_grinder_or_a_station",
                condition=Q(grinder=None, station__isnull=False)
                | Q(grinder__isnull=False, station=None),
            ),
            models.CheckConstraint(
                name="lot_opened_before_its_time_for_a_reason",
                condition=Q(state=READY) | (Q(state__in=["resting", "past"]) & ~Q(reason="")),
            ),
            models.CheckConstraint(
                name="lot_dates_in_order",
                condition=Q(closed_at=None, closed_by=None)
                | Q(closed_at__gte=F("opened_at"), closed_by__isnull=False),
            ),
        ]
        indexes = [models.Index(fields=["lot_id", "site"], name="lot_opening_by_lot")]
        triggers = [
            FIXED,
            AT_ITS_SITE,
            *governed(
                subject="site",
                subject_id="n.site_id",
                site_id="n.site_id",
                label="n.coffee || ' ' || n.code",
                exclude=("site_id",),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.coffee} {self.code}"

    def get_absolute_url(self) -> str:
        """The lots of its site."""
        return reverse("stations:lots", args=[self.site_id])

    @property
    def where(self) -> Grinder | Station:
        """What it was opened at."""
        place = self.grinder or self.station
        assert place is not None, "the database holds that it has one"
        return place

    def aged(self, at: datetime) -> Aged:
        """How it stands at that moment, by its site's calendar."""
        return self.aged_on(self.site.local(at).date())

    def aged_on(self, day: date) -> Aged:
        """How it stands on that day."""
        return aged(self.roasted_on, self.rest_from, self.rest_to, day)
