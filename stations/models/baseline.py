"""The frozen baseline a control chart is judged by."""

from decimal import Decimal

from django.conf import settings as project
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.governed import governed, insert_only
from stations.fields import ExactDecimalField
from stations.models.equipment import Station
from stations.rounded import rounded


class ChartBaseline(models.Model):
    """Centre and spread frozen from some shots; the newest of its kind counts.

    For one station, one signed content and one measured value; never changed: to freeze anew is
    another row, with its reason.
    """

    station = models.ForeignKey(Station, models.PROTECT, related_name="baselines")
    content_digest = models.CharField(max_length=64)
    code = models.CharField(max_length=40)
    centre = ExactDecimalField()
    spread = ExactDecimalField(help_text="standard deviation by the mean moving range")
    shots = models.PositiveIntegerField()
    last_shot = models.BigIntegerField(help_text="the newest shot it was frozen from")
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(project.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["station", "content_digest", "code"], name="baseline_of_chart")
        ]
        constraints = [
            models.CheckConstraint(
                name="baseline_has_spread_and_reason",
                condition=Q(spread__gt=0, shots__gte=2) & ~Q(reason=""),
            ),
        ]
        triggers = [
            *insert_only("baseline"),
            *governed(
                subject="station",
                subject_id="n.station_id",
                lookup="SELECT m.name || ' · station ' || s.number AS label, m.site_id"
                " FROM stations_station s JOIN stations_machine m ON m.id = s.machine_id"
                " WHERE s.id = n.station_id",
                label="l.label",
                site_id="l.site_id",
                parameter="n.code",
            ),
        ]

    def __str__(self) -> str:
        return f"baseline of {self.station}"

    def get_absolute_url(self) -> str:
        """The chart it belongs to."""
        return reverse("stations:charts", args=[self.station_id]) + f"?value={self.code}"

    @property
    def centre_printed(self) -> Decimal:
        """The centre to as many digits as a scale's are worth: two after the point."""
        return rounded(float(self.centre), 2)

    @property
    def spread_printed(self) -> Decimal:
        """The spread likewise."""
        return rounded(float(self.spread), 2)
