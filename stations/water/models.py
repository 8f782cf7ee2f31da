"""A site's water as a report or a test kit told it."""

from typing import Self

from django.conf import settings as project
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.capture.triggers import insert_only
from people.persons.permissions import SiteScoped
from stations.equipment.models import Site
from stations.metrology.water_units import AlkalinityUnit, HardnessUnit, TemperatureUnit
from web.model_fields import ExactDecimalField

# Water readings a person may see.


class WaterReadingQuerySet(SiteScoped["WaterReading"]):
    """Questions about water."""

    def newest_of_each_site(self) -> Self:
        """One reading for each site: the newest."""
        return self.order_by("site_id", "-taken_on", "-id").distinct("site_id")


class WaterReading(models.Model):
    """One reading, never changed: a wrong one is followed by a right one.

    Values stand as they were entered, in the unit of the report; the ``_converted`` ones are
    mg/L CaCO3, and °C.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="water")
    taken_on = models.DateField()
    ph = ExactDecimalField()
    hardness = ExactDecimalField()
    hardness_unit = models.CharField(max_length=12, choices=[(u, u) for u in HardnessUnit])
    hardness_converted = ExactDecimalField(help_text="mg/L CaCO3")
    alkalinity = ExactDecimalField()
    alkalinity_unit = models.CharField(max_length=12, choices=[(u, u) for u in AlkalinityUnit])
    alkalinity_converted = ExactDecimalField(help_text="mg/L CaCO3")
    dissolved_solids = ExactDecimalField(help_text="mg/L")
    temperature = ExactDecimalField()
    temperature_unit = models.CharField(max_length=4, choices=[(u, u) for u in TemperatureUnit])
    temperature_converted = ExactDecimalField(help_text="°C")
    note = models.CharField(max_length=500, blank=True, default="")
    by = models.ForeignKey(project.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())

    objects = WaterReadingQuerySet.as_manager()

    class Meta:
        ordering = ["-taken_on", "-id"]
        constraints = [
            one_of("hardness_unit", HardnessUnit, name="water_hardness_unit_is_known"),
            one_of("alkalinity_unit", AlkalinityUnit, name="water_alkalinity_unit_is_known"),
            one_of("temperature_unit", TemperatureUnit, name="water_temperature_unit_is_known"),
            models.CheckConstraint(
                name="water_is_plausible",
                condition=Q(
                    ph__gte=0, ph__lte=14, hardness_converted__gte=0, alkalinity_converted__gte=0,
                    dissolved_solids__gt=0, temperature_converted__gte=0,
                    temperature_converted__lte=100,
                ),
            ),
        ]  # fmt: skip
        triggers = [
            *insert_only("water"),
            *governed(
                subject="site",
                subject_id="n.site_id",
                site_id="n.site_id",
                label="(SELECT s.name FROM stations_site s WHERE s.id = n.site_id)",
            ),
        ]

    def __str__(self) -> str:
        return f"water of {self.site} on {self.taken_on}"

    def get_absolute_url(self) -> str:
        """The site's water."""
        return reverse("stations:water", args=[self.site_id])
