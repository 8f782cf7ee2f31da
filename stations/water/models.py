"""A site's water as a report or a test kit told it."""

from functools import reduce
from operator import or_
from typing import Self

from django.conf import settings as project
from django.db import models
from django.db.models import DateField, DateTimeField, Exists, F, Func, OuterRef, Q
from django.db.models.functions import Cast, Now
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.capture.triggers import insert_only
from people.persons.permissions import SiteScoped
from stations.equipment.models import Site
from stations.equipment.replaced import Part, Replacement
from stations.metrology.water_units import AlkalinityUnit, HardnessUnit, TemperatureUnit
from web.model_fields import ExactDecimalField

# A reading has at least one of these; the temperature of a sample alone says nothing of the water.
FIGURES = ("ph", "hardness", "alkalinity", "dissolved_solids", "conductivity", "chloride")


def _whole(figure: str) -> models.CheckConstraint:
    """A value comes with its unit and converted, or all three are missing."""
    parts = (figure, f"{figure}_unit", f"{figure}_converted")
    missing, given = (Q(*((f"{part}__isnull", none) for part in parts)) for none in (True, False))
    return models.CheckConstraint(name=f"water_{figure}_is_whole", condition=missing | given)


# Water readings a person may see.


class WaterReadingQuerySet(SiteScoped["WaterReading"]):
    """Questions about water."""

    def standing(self) -> Self:
        """Those since whose day, by the site's clock, its filter was not replaced."""
        local = Func(
            F("site__time_zone"), F("at"), function="timezone", output_field=DateTimeField()
        )
        filters = Replacement.objects.filter(site=OuterRef("site"), part=Part.FILTER)
        gone = filters.annotate(day=Cast(local, DateField())).filter(day__gt=OuterRef("taken_on"))
        return self.exclude(Exists(gone))

    def newest_of_each_site(self) -> Self:
        """One reading for each site: the newest that stands."""
        return self.standing().order_by("site_id", "-taken_on", "-id").distinct("site_id")


class WaterReading(models.Model):
    """One reading, never changed: a wrong one is followed by a right one.

    Values stand as they were entered, in the unit of the report; the ``_converted`` ones are
    mg/L CaCO3, and °C. What the report does not say is NULL, its unit as well.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="water")
    taken_on = models.DateField()
    ph = ExactDecimalField(null=True)
    hardness = ExactDecimalField(null=True)
    hardness_unit = models.CharField(  # noqa: DJ001 - a unit of nothing is none
        max_length=12, choices=[(u.value, u.value) for u in HardnessUnit], null=True
    )
    hardness_converted = ExactDecimalField(help_text="mg/L CaCO3", null=True)
    alkalinity = ExactDecimalField(null=True)
    alkalinity_unit = models.CharField(  # noqa: DJ001 - a unit of nothing is none
        max_length=12, choices=[(u.value, u.value) for u in AlkalinityUnit], null=True
    )
    alkalinity_converted = ExactDecimalField(help_text="mg/L CaCO3", null=True)
    dissolved_solids = ExactDecimalField(help_text="mg/L", null=True)
    conductivity = ExactDecimalField(help_text="µS/cm at 25 °C", null=True)
    chloride = ExactDecimalField(help_text="mg/L", null=True)
    temperature = ExactDecimalField(null=True)
    temperature_unit = models.CharField(  # noqa: DJ001 - a unit of nothing is none
        max_length=4, choices=[(u.value, u.value) for u in TemperatureUnit], null=True
    )
    temperature_converted = ExactDecimalField(help_text="°C", null=True)
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
                    dissolved_solids__gt=0, conductivity__gt=0, chloride__gte=0,
                    temperature_converted__gte=0, temperature_converted__lte=100,
                ),
            ),
            models.CheckConstraint(
                name="water_says_something",
                condition=reduce(or_, (Q((f"{each}__isnull", False)) for each in FIGURES)),
            ),
            *(_whole(each) for each in ("hardness", "alkalinity", "temperature")),
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
