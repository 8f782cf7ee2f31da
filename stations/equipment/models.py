"""The equipment: sites, their machines, the machines' stations and the stations' slots."""

import secrets
from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pgtrigger
from django.db import models
from django.db.models import Q
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.triggers import FirmTrigger, refusal
from audit.revision import Revised
from people.persons.permissions import SiteScoped
from stations.equipment.querysets import SlotQuerySet, StationQuerySet
from stations.machine_types.models import MachineType
from stations.metrology.atmosphere import (
    EARTH_RADIUS,
    LAPSE_RATE,
    PRESSURE_EXPONENT,
    SEA_LEVEL_PRESSURE,
    SEA_LEVEL_TEMPERATURE,
    WEATHER,
    local_boiling_point,
)
from web.model_fields import ExactDecimalField


def stays(columns: str, sentence: str) -> FirmTrigger:
    """Keeps a piece of equipment where it was entered.

    What a slot should hold was signed for the slot of that number, in that place: with the row
    moved, another slot would be said to hold it.
    """
    moved = " OR ".join(f"NEW.{c} IS DISTINCT FROM OLD.{c}" for c in columns.split())
    return FirmTrigger(
        name="a_guard_place",
        level=pgtrigger.Row,
        when=pgtrigger.Before,
        operation=pgtrigger.Update,
        func=f"IF {moved} THEN {refusal(sentence)} END IF; RETURN NEW;",
    )


def governed_at_site(*exclude: str) -> list[pgtrigger.Trigger]:
    """History of rows that lie at a site, told of that site."""
    return governed(
        subject="site",
        subject_id="n.site_id",
        site_id="n.site_id",
        label="l.name",
        lookup="SELECT s.name FROM stations_site s WHERE s.id = n.site_id",
        exclude=exclude,
    )


# As stations.metrology.atmosphere has it (ISO 2533), a hair wider: that one is exact and says why.
BAROMETER = FirmTrigger(
    name="a_guard_barometer",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Insert | pgtrigger.Update,
    declare=[("standard", "double precision")],
    func=f"""
    IF NEW.air_pressure IS NOT NULL AND (TG_OP = 'INSERT' OR
        (NEW.air_pressure, NEW.altitude) IS DISTINCT FROM (OLD.air_pressure, OLD.altitude))
    THEN
        standard := {SEA_LEVEL_PRESSURE} * (1 - {LAPSE_RATE} / {SEA_LEVEL_TEMPERATURE}
            * ({EARTH_RADIUS} * NEW.altitude::double precision
            / ({EARTH_RADIUS} + NEW.altitude::double precision))) ^ {PRESSURE_EXPONENT!r};
        IF abs(NEW.air_pressure - standard) > {WEATHER + 0.01} THEN
            {refusal("A barometer in % shows the air there, not reduced to sea level.")}
        END IF;
    END IF;
    RETURN NEW;
    """,
)


class SiteQuerySet(SiteScoped["Site"]):
    """Questions about sites."""

    site_path = "pk"


class MachineQuerySet(SiteScoped[Any]):
    """Questions about machines."""


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
        triggers = [
            BAROMETER,
            *governed(subject="site", site_id="n.id", label="n.name", exclude=("revision",)),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """The site's page."""
        return reverse("stations:site", args=[self.pk])

    @property
    def zone(self) -> ZoneInfo:
        """The site's own time zone."""
        return ZoneInfo(self.time_zone)

    @property
    def boiling_point(self) -> Decimal:
        """Where water boils [°C], to one place: by the barometer, else by the altitude."""
        exact = Decimal(local_boiling_point(self.altitude, self.air_pressure))
        return exact.quantize(Decimal("0.1"), ROUND_HALF_UP)

    def local(self, instant: datetime) -> datetime:
        """An aware instant as the site's clock shows it."""
        return instant.astimezone(self.zone)


# No vowels and no look-alikes: a code may be read aloud over a grinder.
CODE_LETTERS = "23456789bcdfghjkmnpqrstvwxz"


def new_station_code() -> str:
    """Eight letters for the address on a printed station sheet (about 38 bits)."""
    return "".join(secrets.choice(CODE_LETTERS) for _ in range(8))


class Machine(Revised):
    """An espresso machine in a bar."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="machines")
    name = models.CharField(max_length=80)
    machine_type = models.ForeignKey(MachineType, models.PROTECT, related_name="machines")

    objects = MachineQuerySet.as_manager()

    class Meta:
        ordering = ["site", "name"]
        constraints = [
            models.UniqueConstraint(fields=["site", "name"], name="machine_name_once_per_site")
        ]
        triggers = [
            stays("site_id", "A machine in % stays at its site: enter it anew where it goes."),
            *governed(
                subject="machine", site_id="n.site_id", label="n.name", exclude=("revision",)
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """The machine's page."""
        return reverse("stations:machine", args=[self.pk])


# What a station's meter and thermometer are said to be moves pulses and temperatures of everything
# translated for it: only what was measured, or typed with a reason, and accepted by name does that.
# With its meter or probe replaced, a station has none.
FIGURES = FirmTrigger(
    name="a_guard_figures",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Update,
    func=f"""
    IF (NEW.pulses_per_millilitre, NEW.slope_uncertainty, NEW.repeatability)
            IS DISTINCT FROM (OLD.pulses_per_millilitre, OLD.slope_uncertainty, OLD.repeatability)
        AND NOT EXISTS (SELECT 1 FROM stations_calibration c WHERE c.station_id = NEW.id
            AND c.kind = 'flow_meter' AND c.state = 'accepted'
            AND c.decided_at >= transaction_timestamp()
            AND c.value = NEW.pulses_per_millilitre)
        AND NOT (num_nonnulls(NEW.pulses_per_millilitre, NEW.slope_uncertainty, NEW.repeatability)
            = 0 AND EXISTS (SELECT 1 FROM stations_replacement r WHERE r.station_id = NEW.id
            AND r.part = 'flow_meter' AND r.noted_at >= transaction_timestamp()))
        OR (NEW.temperature_offset, NEW.offset_uncertainty)
            IS DISTINCT FROM (OLD.temperature_offset, OLD.offset_uncertainty)
        AND NOT EXISTS (SELECT 1 FROM stations_calibration c WHERE c.station_id = NEW.id
            AND c.kind = 'temperature' AND c.state = 'accepted'
            AND c.decided_at >= transaction_timestamp() AND c.value = NEW.temperature_offset)
        AND NOT (num_nonnulls(NEW.temperature_offset, NEW.offset_uncertainty) = 0
            AND EXISTS (SELECT 1 FROM stations_replacement r WHERE r.station_id = NEW.id
            AND r.part = 'probe' AND r.noted_at >= transaction_timestamp()))
    THEN
        {refusal("Figures in % change by an accepted calibration alone, or end with their part.")}
    END IF;
    RETURN NEW;
    """,  # noqa: S608 - constants of this module
)


class Station(Revised):
    """One brewing group of a machine, with the traits that set it apart from its neighbours."""

    machine = models.ForeignKey(Machine, models.PROTECT, related_name="stations")
    number = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=12, unique=True, default=new_station_code)
    pulses_per_millilitre = ExactDecimalField(
        null=True, blank=True, help_text="flow-meter pulses per mL of water, from its calibration"
    )
    temperature_offset = ExactDecimalField(
        null=True,
        blank=True,
        help_text="°C measured at the group minus °C set; empty: not measured",
    )
    # Standard uncertainties, from the accepted calibrations; None where a value was typed in.
    slope_uncertainty = ExactDecimalField(null=True, blank=True, help_text="pulses per mL")
    repeatability = ExactDecimalField(
        null=True, blank=True, help_text="mL, standard deviation of one delivery"
    )
    offset_uncertainty = ExactDecimalField(null=True, blank=True, help_text="°C")

    objects = StationQuerySet.as_manager()

    class Meta:
        ordering = ["machine", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine", "number"], name="station_number_once_per_machine"
            ),
            models.CheckConstraint(name="station_number_from_one", condition=Q(number__gte=1)),
            models.CheckConstraint(
                name="station_pulses_are_positive",
                condition=Q(pulses_per_millilitre__isnull=True)
                | Q(pulses_per_millilitre__gt=0, pulses_per_millilitre__lte=1000),
            ),
            models.CheckConstraint(
                name="station_offset_is_plausible",
                condition=Q(temperature_offset__isnull=True)
                | Q(temperature_offset__gte=-15, temperature_offset__lte=15),
            ),
            models.CheckConstraint(
                name="station_uncertainties_not_negative",
                condition=(Q(slope_uncertainty=None) | Q(slope_uncertainty__gte=0))
                & (Q(repeatability=None) | Q(repeatability__gte=0))
                & (Q(offset_uncertainty=None) | Q(offset_uncertainty__gte=0)),
            ),
        ]
        triggers = [
            FIGURES,
            stays("machine_id number", "A station in % keeps its machine and its number."),
            *governed(
                subject="station",
                site_id="l.site_id",
                label="l.name || ' · station ' || n.number",
                lookup="SELECT m.site_id, m.name FROM stations_machine m WHERE m.id = n.machine_id",
                exclude=("revision",),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.machine} · station {self.number}"

    def get_absolute_url(self) -> str:
        """The station's page."""
        return reverse("stations:station", args=[self.pk])


class Slot(models.Model):
    """One numbered recipe memory of a station. Slots are never removed."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="slots")
    number = models.PositiveSmallIntegerField()

    objects = SlotQuerySet.as_manager()

    class Meta:
        ordering = ["station", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["station", "number"], name="slot_number_once_per_station"
            ),
            models.CheckConstraint(name="slot_number_from_one", condition=Q(number__gte=1)),
        ]
        triggers = [
            stays("station_id number", "A slot in % keeps its station and its number."),
            *governed(
                subject="slot",
                site_id="l.site_id",
                label="l.label || ' · slot ' || n.number",
                lookup="SELECT m.site_id, m.name || ' · station ' || s.number AS label"
                " FROM stations_station s JOIN stations_machine m ON m.id = s.machine_id"
                " WHERE s.id = n.station_id",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.station} · slot {self.number}"

    def get_absolute_url(self) -> str:
        """The slot's page."""
        return reverse("stations:slot", args=[self.pk])
