"""How far each cause was looked for at each station, and what was found."""

from datetime import datetime
from typing import Any, Self

from django.conf import settings as project
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import exempt, governed
from audit.capture.models import one_of
from audit.revision import Revised
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from stations.causes.guards import answered_in_turn, found_there
from stations.causes.wording import CauseKind, Given
from stations.equipment.models import Site, Station
from stations.grinders.models import Grinder
from web.model_fields import ExactDecimalField

NOTE = 500


@exempt("Sums over shots, which are governed: how far a cause was looked for; made by the sweep.")
class CauseRun(models.Model):
    """One cause at one station: what its shots said so far.

    ``kept`` is as `stations.causes.following` makes it: references, sums and the newest points.
    """

    station = models.ForeignKey(Station, models.CASCADE, related_name="cause_runs", db_index=False)
    cause = models.CharField(max_length=8, choices=CauseKind)
    begun_at = models.DateTimeField(help_text="shots before say nothing of what is built in now")
    read_to = models.DateTimeField(help_text="the newest shot that was looked at")
    scored = models.PositiveIntegerField(default=0, help_text="shots that gave a score")
    kept: Any = models.JSONField(default=dict)

    class Meta:
        constraints = [
            one_of("cause", CauseKind, name="cause_run_cause_is_known"),
            models.UniqueConstraint(fields=["station", "cause"], name="cause_run_once"),
        ]

    def __str__(self) -> str:
        return f"{self.cause} at {self.station_id}"


class FindingState(models.TextChoices):
    """Where a finding is in its life."""

    OPEN = "open", "nobody has answered"
    ACKNOWLEDGED = "acknowledged", "acknowledged"
    CLEARED = "cleared", "cleared"


class Evidence(models.TextChoices):
    """By what a finding was cleared."""

    CALIBRATION = "calibration", "a calibration that was accepted"
    REPLACEMENT = "replacement", "a part that was replaced"
    GRINDER = "grinder", "new burrs, or another grinder"
    SHOTS = "shots", "shots that are as before"
    LEVEL = "level", "shots that stay at their new level"


class FindingQuerySet(SiteScoped["CauseFinding"]):
    """Questions about findings."""

    view_verb = Verb.SLOT_VIEW

    def lasting(self) -> Self:
        """Those that were not cleared."""
        return self.exclude(state="cleared")

    def with_place(self) -> Self:
        """With everything a list of them prints."""
        return self.select_related(
            "station__machine__site", "grinder", "acknowledged_by", "cleared_by"
        )


class CauseFinding(Revised):
    """A cause that was found at a station, with the statistic that says so.

    ``size`` is the change of the newest [the measure's unit] of ``shots`` since ``began_at``,
    ``total`` the sum that passed ``decision`` [standard deviations]; a false alarm comes once in
    ``run_length`` shots. ``points`` are the newest shots by then.
    """

    station = models.ForeignKey(Station, models.PROTECT, related_name="findings", db_index=False)
    site = models.ForeignKey(Site, models.PROTECT, related_name="+", db_index=False)
    cause = models.CharField(max_length=8, choices=CauseKind)
    grinder = models.ForeignKey(
        Grinder, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    upward = models.BooleanField()
    size = ExactDecimalField()
    total = ExactDecimalField()
    decision = ExactDecimalField()
    run_length = models.PositiveIntegerField()
    shots = models.PositiveIntegerField()
    points: Any = models.JSONField()
    began_at = models.DateTimeField()
    found_at = models.DateTimeField(db_default=Now())
    state = models.CharField(max_length=12, choices=FindingState, default=FindingState.OPEN)
    given = models.CharField(max_length=12, choices=Given, blank=True, default="")
    note = models.CharField(max_length=NOTE, blank=True, default="")
    acknowledged_by = models.ForeignKey(
        project.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    evidence = models.CharField(max_length=12, choices=Evidence, blank=True, default="")
    evidence_id = models.BigIntegerField(null=True, blank=True)
    evidence_words = models.CharField(max_length=NOTE, blank=True, default="")
    cleared_by = models.ForeignKey(
        project.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    cleared_at = models.DateTimeField(null=True, blank=True)

    objects = FindingQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("cause", CauseKind, name="finding_cause_is_known"),
            one_of("state", FindingState, name="finding_state_is_known"),
            models.CheckConstraint(
                name="finding_given_is_known", condition=Q(given__in=["", *Given.values])
            ),
            models.CheckConstraint(
                name="finding_evidence_is_known", condition=Q(evidence__in=["", *Evidence.values])
            ),
            models.UniqueConstraint(
                fields=["station", "cause"],
                condition=~Q(state="cleared"),
                name="finding_one_lasting",
            ),
            models.CheckConstraint(
                name="finding_answered_by_somebody",
                condition=Q(acknowledged_at=None, acknowledged_by=None, given="")
                | Q(acknowledged_at__isnull=False, acknowledged_by__isnull=False) & ~Q(given=""),
            ),
            models.CheckConstraint(
                name="finding_state_fits_its_moments",
                condition=Q(state="open", acknowledged_at=None, cleared_at=None, evidence="")
                | Q(state="acknowledged", acknowledged_at__isnull=False, cleared_at=None,
                    evidence="")
                | Q(state="cleared", cleared_at__isnull=False)
                & ~Q(evidence="")
                & ~Q(evidence_words=""),
            ),
            models.CheckConstraint(
                name="finding_has_its_statistic",
                condition=Q(decision__gt=0, run_length__gt=0, shots__gt=0),
            ),
        ]  # fmt: skip
        indexes = [
            models.Index(
                fields=["site", "station"], name="finding_lasting", condition=~Q(state="cleared")
            ),
            models.Index(fields=["site", "-id"], name="finding_at_site"),
            models.Index(fields=["station", "-id"], name="finding_of_station"),
        ]
        triggers: Any = [
            found_there(),
            answered_in_turn(),
            *governed(
                subject="station",
                subject_id="n.station_id",
                lookup="SELECT m.name || ' · station ' || s.number AS label"
                " FROM stations_station s JOIN stations_machine m ON m.id = s.machine_id"
                " WHERE s.id = n.station_id",
                label="l.label",
                site_id="n.site_id",
                exclude=("revision", "points"),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_cause_display()} at {self.station}"

    def get_absolute_url(self) -> str:
        """Its page."""
        return reverse("stations:finding", args=[self.pk])

    @property
    def where(self) -> str:
        """The station in words."""
        return f"{self.station.machine}, station {self.station.number}"

    @property
    def last_point(self) -> datetime | None:
        """The moment of the newest shot it rests on."""
        return datetime.fromisoformat(self.points[-1][0]) if self.points else None
