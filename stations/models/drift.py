"""A control chart whose newest check shots signal against its frozen baseline."""

from urllib.parse import urlencode

from django.db import models
from django.db.models.functions import Now
from django.urls import reverse

from audit.governed import exempt
from stations.models.baseline import ChartBaseline
from stations.models.equipment import Station
from stations.models.shot import CheckShot
from stations.models.site import Site
from stations.queries.drifts import DriftQuerySet


@exempt("worked out from check shots and baselines, which are governed; made anew by note_drifts")
class Drift(models.Model):
    """There as long as the chart signals; ``stations.drifting`` writes it, and nothing else."""

    station = models.ForeignKey(Station, models.CASCADE, related_name="drifts", db_index=False)
    site = models.ForeignKey(Site, models.CASCADE, related_name="+")
    content_digest = models.CharField(max_length=64)
    code = models.CharField(max_length=40)
    baseline = models.ForeignKey(ChartBaseline, models.CASCADE, related_name="+", db_index=False)
    shot = models.ForeignKey(CheckShot, models.CASCADE, related_name="+", db_index=False)
    rules = models.CharField(max_length=200, help_text="what it signals by")
    noted_at = models.DateTimeField(db_default=Now())

    objects = DriftQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["station", "content_digest", "code"], name="drift_once_a_chart"
            ),
        ]

    def __str__(self) -> str:
        return f"drift at {self.station}"

    def get_absolute_url(self) -> str:
        """The chart that signals."""
        asked = urlencode({"value": self.code, "content": self.content_digest})
        return f"{reverse('stations:charts', args=[self.station_id])}?{asked}"

    @property
    def label(self) -> str:
        """What drifts, such as Beverage mass."""
        from stations.shots import LABELS  # noqa: PLC0415 - which imports the models

        return LABELS.get(self.code, self.code)

    @property
    def drifting(self) -> str:
        """As the word of a mark."""
        return f"{self.label} drifts"

    @property
    def words(self) -> str:
        """As a line of a list."""
        return f"{self.station.machine}, station {self.station.number}: {self.drifting}"
