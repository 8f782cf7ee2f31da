"""The frozen baseline a control chart is judged by."""

from collections.abc import Iterable
from datetime import timedelta
from decimal import Decimal
from typing import Any, Self
from urllib.parse import urlencode

from django.conf import settings as project
from django.db import models
from django.db.models import Count, Exists, OuterRef, Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import exempt, governed
from audit.capture.triggers import insert_only
from people.persons.permissions import SiteScoped
from people.persons.verbs import Verb
from stations.charts.guards import kept_chart_guard
from stations.equipment.models import Site, Station
from stations.equipment.replaced import ENDS_BASELINES, Replacement
from stations.shots.judging import LABELS
from stations.shots.models import CheckShot
from stations.slots.models import Placement
from web.model_fields import ExactDecimalField
from web.numbers import rounded

# Charts that signal, and for whom.


LATELY = timedelta(days=14)  # older shots say nothing of today's cups


class DriftQuerySet(SiteScoped["Drift"]):
    """Questions about drift."""

    view_verb = Verb.SLOT_VIEW

    def current(self) -> Self:
        """Of late, with the meter and pump of now; ``held``: a slot there still holds the settings.

        One of settings that were replaced stays until shots under the new ones clear it; as any
        other, it is not of late once two weeks have passed without one.
        """
        holding = Placement.objects.in_force().filter(
            slot__station=OuterRef("station"),
            settings__content_digest=OuterRef("content_digest"),
        )
        lately = Q(shot__at__gte=Now() - LATELY) | Q(uncleared_at__gte=Now() - LATELY)
        other = Replacement.objects.filter(
            Q(station=OuterRef("station")) | Q(machine=OuterRef("station__machine")),
            part__in=ENDS_BASELINES, at__gte=OuterRef("shot__at"),
        )  # fmt: skip
        return self.filter(lately, ~Exists(other)).annotate(held=Exists(holding))

    def with_place(self) -> Self:
        """With everything a list of them prints, in reading order."""
        return self.select_related("station__machine__site", "shot").order_by(
            "site__name", "station__machine__name", "station__number", "code"
        )

    def stations_by_site(self, sites: Iterable[int] | None = None) -> dict[int, int]:
        """How many stations drift at each site where one does."""
        rows = self if sites is None else self.filter(site__in=sites)
        return dict(rows.order_by().values_list("site").annotate(Count("station", distinct=True)))


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
    last_shot = models.ForeignKey(
        CheckShot,
        models.PROTECT,
        related_name="+",
        db_index=False,
        help_text="the newest it was frozen from",
    )
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


# A control chart as somebody saw it, kept as figures: shots that follow change nothing of it.


class KeptChartQuerySet(SiteScoped["KeptChart"]):
    """Questions about kept charts."""

    view_verb = Verb.EQUIPMENT_VIEW

    def with_place(self) -> Self:
        """With everything a page prints of them."""
        return self.select_related("station__machine__site", "site", "by")


class KeptChart(models.Model):
    """One station's chart of one value, as it stood: the shots, the limits and what signalled.

    ``figures`` is as `stations.charts.keeping` makes it; its digest says what was seen.
    """

    station = models.ForeignKey(Station, models.PROTECT, related_name="kept_charts")
    site = models.ForeignKey(Site, models.PROTECT, related_name="+")
    content_digest = models.CharField(max_length=64)
    code = models.CharField(max_length=40)
    title = models.CharField(max_length=200, help_text="of the settings that were brewed")
    figures = models.JSONField()
    figures_digest = models.CharField(max_length=64)
    by = models.ForeignKey(project.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())

    objects = KeptChartQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["station", "figures_digest"], name="kept_chart_once_as_it_stood"
            ),
            models.CheckConstraint(
                name="kept_chart_has_figures",
                condition=Q(figures_digest__regex="^[0-9a-f]{64}$") & ~Q(code=""),
            ),
        ]
        triggers: Any = [
            *insert_only("kept_chart"),
            kept_chart_guard(),
            *governed(
                subject="station",
                subject_id="n.station_id",
                lookup="SELECT m.name || ' · station ' || s.number AS label"
                " FROM stations_station s JOIN stations_machine m ON m.id = s.machine_id"
                " WHERE s.id = n.station_id",
                label="l.label",
                site_id="n.site_id",
                parameter="n.code",
            ),
        ]

    def __str__(self) -> str:
        return f"chart of {self.label} at {self.station}"

    def get_absolute_url(self) -> str:
        """Its page."""
        return reverse("stations:kept_chart", args=[self.pk])

    @property
    def label(self) -> str:
        """What it charts, such as Yield."""
        return LABELS.get(self.code, self.code)


# A control chart whose newest check shots signal against its frozen baseline.


@exempt("worked out from check shots and baselines, which are governed; made anew by note_drifts")
class Drift(models.Model):
    """There as long as the chart signals; only ``stations.charts.drifting`` writes it."""

    station = models.ForeignKey(Station, models.CASCADE, related_name="drifts", db_index=False)
    site = models.ForeignKey(Site, models.CASCADE, related_name="+")
    content_digest = models.CharField(max_length=64)
    code = models.CharField(max_length=40)
    baseline = models.ForeignKey(ChartBaseline, models.CASCADE, related_name="+", db_index=False)
    shot = models.ForeignKey(CheckShot, models.CASCADE, related_name="+", db_index=False)
    rules = models.CharField(max_length=200, help_text="what it signals by")
    began_under = models.CharField(
        max_length=64, blank=True, default="",
        help_text="the content it was first noted under, before others took over",
    )  # fmt: skip
    uncleared_at = models.DateTimeField(
        null=True, blank=True, help_text="the newest shot under later settings, which left it open"
    )
    noted_at = models.DateTimeField(db_default=Now())

    objects = DriftQuerySet.as_manager()

    held = True  # whether a slot there still holds its settings; told by `current`

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
        """What drifts, such as Yield."""
        return LABELS.get(self.code, self.code)

    @property
    def drifting(self) -> str:
        """As the word of a mark."""
        return f"{self.label} drifts{'' if self.held else ', not cleared yet'}"

    @property
    def lasting(self) -> str:
        """What stays the same as long as it lasts, whatever is published meanwhile."""
        return f"{self.station_id}:{self.code}:{self.began_under or self.content_digest}"

    @property
    def why(self) -> str:
        """What the chart signals, and what ends it where its settings were replaced."""
        since = "" if self.held else " Other settings were published since: shots have to clear it."
        return f"The chart signals: {self.rules}.{since}"

    @property
    def words(self) -> str:
        """As a line of a list."""
        return f"{self.station.machine}, station {self.station.number}: {self.drifting}"
