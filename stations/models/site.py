"""A bar."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.db import models
from django.urls import reverse

from audit.governed import governed
from audit.revision import Revised
from stations.fields import ExactDecimalField
from stations.queries.sites import SiteQuerySet


class Site(Revised):
    """A bar: where it is decides local time and the boiling point of water."""

    code = models.SlugField(max_length=20, unique=True)
    name = models.CharField(max_length=80, unique=True)
    time_zone = models.CharField(max_length=60, help_text="IANA name, such as Europe/Lisbon")
    altitude = ExactDecimalField(help_text="metres above sea level")
    air_pressure = ExactDecimalField(
        null=True, blank=True, help_text="hPa, as a barometer at the site shows it"
    )
    air_pressure_on = models.DateField(null=True, blank=True, help_text="day of that reading")

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                name="site_altitude_in_the_troposphere",
                condition=models.Q(altitude__gte=-430, altitude__lte=6000),
            ),
            models.CheckConstraint(
                name="site_barometer_is_dated_and_plausible",
                condition=models.Q(air_pressure=None, air_pressure_on=None)
                | models.Q(
                    air_pressure__gte=400, air_pressure__lte=1100, air_pressure_on__isnull=False
                ),
            ),
        ]
        triggers = governed(subject="site", site_id="n.id", label="n.name", exclude=("revision",))

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """The site's page."""
        return reverse("stations:site", args=[self.pk])

    @property
    def zone(self) -> ZoneInfo:
        """The site's own time zone."""
        return ZoneInfo(self.time_zone)

    def local(self, instant: datetime) -> datetime:
        """An aware instant as the site's clock shows it."""
        return instant.astimezone(self.zone)
