"""The shot model fitted to one station's check shots under one version."""

from datetime import timedelta
from typing import Any, Self

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.capture.triggers import FirmTrigger, refusal
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.shots.models import CheckShot


class ShotFitQuerySet(SiteScoped["ShotFit"]):
    """Questions about fits."""

    site_path = "station__machine__site"
    view_verb = Verb.RECIPE_VIEW

    def with_place(self) -> Self:
        """With everything a page prints."""
        return self.select_related(
            "station__machine__site", "version__recipe__coffee", "by"
        ).prefetch_related("version__formula")

    def waiting(self) -> Self:
        """Asked for and not finished."""
        return self.filter(state="waiting")

    def done(self) -> Self:
        """Finished with parameters."""
        return self.filter(state="done")

    def left_lying(self, after: timedelta) -> Self:
        """Waiting for longer than that: their worker was killed, or their message lost."""
        return self.waiting().filter(asked_at__lt=Now() - after)


ONCE = FirmTrigger(
    name="a_fit_once",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Update | pgtrigger.Delete,
    func=f"""
    IF TG_OP = 'DELETE' OR OLD.state <> 'waiting' OR NEW.state = 'waiting'
        OR (NEW.station_id, NEW.version_id, NEW.by_id, NEW.asked_at)
            IS DISTINCT FROM (OLD.station_id, OLD.version_id, OLD.by_id, OLD.asked_at)
    THEN {refusal("A row of % is finished once, and stays.")} END IF;
    RETURN NEW;
    """,
)


class FitState(models.TextChoices):
    """Where a fit is in its life."""

    WAITING = "waiting", "under way"
    DONE = "done", "fitted"
    IMPOSSIBLE = "impossible", "not possible"


class ShotFit(models.Model):
    """Who asked for it, from which shots it was made, and what came out.

    ``result`` is as ``recipes.modelling.result`` writes it: numbers as decimal strings.
    """

    State = FitState

    station = models.ForeignKey(Station, models.PROTECT, related_name="shot_fits")
    version = models.ForeignKey(Version, models.PROTECT, related_name="shot_fits")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(db_default=Now())
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    finished_at = models.DateTimeField(null=True, blank=True)
    shots = models.PositiveIntegerField(default=0, help_text="how many it was fitted to")
    newest_shot = models.ForeignKey(
        CheckShot, models.PROTECT, null=True, blank=True, related_name="+", db_column="newest_shot"
    )
    result: Any = models.JSONField(null=True, blank=True)
    why_not = models.TextField(blank=True, default="")

    objects = ShotFitQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["station", "version"], name="shot_fit_of_station")]
        constraints = [
            one_of("state", FitState, name="shot_fit_state_is_known"),
            models.UniqueConstraint(
                fields=["station", "version"],
                condition=Q(state="waiting"),
                name="shot_fit_one_waiting",
            ),
            models.CheckConstraint(
                name="shot_fit_finished_with_something",
                condition=Q(state="waiting", finished_at=None, result=None)
                | Q(state="done", finished_at__isnull=False, result__isnull=False, shots__gt=0)
                | Q(state="impossible", finished_at__isnull=False, result=None) & ~Q(why_not=""),
            ),
        ]
        triggers = [
            ONCE,
            *governed(
                subject="station",
                subject_id="n.station_id",
                site_id="l.site_id",
                label="l.name || ' · station ' || l.number",
                lookup="SELECT m.site_id, m.name, s.number FROM stations_station s"
                " JOIN stations_machine m ON m.id = s.machine_id WHERE s.id = n.station_id",
                exclude=("result",),
            ),
        ]

    def __str__(self) -> str:
        return f"fit {self.pk}"

    def get_absolute_url(self) -> str:
        """The model's page for that station."""
        return reverse("recipes:prediction", args=[self.version_id]) + f"?station={self.station_id}"
