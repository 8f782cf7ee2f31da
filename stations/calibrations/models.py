"""What a station's flow meter and temperature were measured to be."""

from datetime import date
from decimal import Decimal
from typing import Any, Self, TypeAlias

import pgtrigger
from django.conf import settings as project
from django.db import models
from django.db.models import Case, Exists, OuterRef, Q, Value, When
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.capture.triggers import FirmTrigger, refusal
from audit.revision import Revised
from people.persons.permissions import SiteScoped
from people.signatures.models import Signature
from stations.equipment.models import Station
from stations.equipment.replaced import Part, Replacement
from web.links import link_to
from web.model_fields import ExactDecimalField

# Calibrations a person may see, and those that are due.


class CalibrationQuerySet(SiteScoped["Calibration"]):
    """Questions about calibrations."""

    site_path = "station__machine__site"

    def with_place(self) -> Self:
        """With everything a list of them prints."""
        return self.select_related("station__machine__site", "recorded_by", "decided_by")

    def waiting(self) -> Self:
        """Recorded and not decided."""
        return self.filter(state="proposed")

    def standing(self) -> Self:
        """Those whose meter or probe was not replaced since."""
        of_part = Case(*(When(kind=kind, then=Value(part.value)) for kind, part in PARTS.items()))
        gone = Replacement.objects.filter(
            station=OuterRef("station"), part=OuterRef("of_part"), at__gte=OuterRef("recorded_at")
        )
        return self.alias(of_part=of_part).exclude(Exists(gone))

    def newest_accepted(self) -> Self:
        """The one that counts, for each station and kind."""
        same = {name: OuterRef(name) for name in ("station", "kind")}
        newer = type(self)(self.model).filter(
            **same, state="accepted", decided_at__gt=OuterRef("decided_at")
        )
        return self.filter(~Exists(newer), state="accepted")

    def due_by(self, day: date) -> Self:
        """Those that count and have to be repeated by that day."""
        return self.newest_accepted().standing().filter(due_on__lte=day)


FIXED = FirmTrigger(
    name="a_calibration_fixed",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Update | pgtrigger.Delete,
    func=f"""
    IF TG_OP = 'DELETE' OR OLD.state <> 'proposed'
        OR (NEW.station_id, NEW.kind, NEW.runs, NEW.value, NEW.uncertainty, NEW.dof, NEW.due_on,
            NEW.recorded_by_id, NEW.recorded_at)
            IS DISTINCT FROM (OLD.station_id, OLD.kind, OLD.runs, OLD.value, OLD.uncertainty,
            OLD.dof, OLD.due_on, OLD.recorded_by_id, OLD.recorded_at)
        OR (NEW.repeatability, NEW.air_pressure, NEW.answers,
                NEW.typed_because)
            IS DISTINCT FROM (OLD.repeatability, OLD.air_pressure, OLD.answers,
                OLD.typed_because)
    THEN {refusal("What was measured in % stays, and is decided once.")} END IF;
    RETURN NEW;
    """,
)


class CalibrationKind(models.TextChoices):
    """What was measured."""

    FLOW_METER = "flow_meter", "flow meter"
    TEMPERATURE = "temperature", "temperature offset"


# What each kind is a calibration of.
PARTS = {
    CalibrationKind.FLOW_METER.value: Part.FLOW_METER,
    CalibrationKind.TEMPERATURE.value: Part.PROBE,
}
UNITS = {CalibrationKind.FLOW_METER.value: "{pulse}/mL", CalibrationKind.TEMPERATURE.value: "Cel"}


class Calibration(Revised):
    """Runs at one station, what follows from them, and whether it was taken over.

    Of a flow meter: ``value`` is K [pulses/mL], ``uncertainty`` u(K) [pulses/mL],
    ``repeatability`` one delivery's standard deviation [mL]. A figure that was typed in has no
    runs, a reason instead, and nobody knows how uncertain it is. Of a temperature: ``value`` is the
    offset [°C, measured minus set], ``uncertainty`` its standard uncertainty [°C].
    """

    Kind: TypeAlias = CalibrationKind

    class State(models.TextChoices):
        """Where a calibration is in its life."""

        PROPOSED = "proposed", "not decided"
        ACCEPTED = "accepted", "accepted"
        REJECTED = "rejected", "rejected"

    station = models.ForeignKey(Station, models.PROTECT, related_name="calibrations")
    kind = models.CharField(max_length=12, choices=Kind)
    runs: Any = models.JSONField(help_text="each run's readings as decimal strings")
    answers: Any = models.JSONField(
        default=list, blank=True, help_text="what was asked about the runs, and what was answered"
    )
    value = ExactDecimalField()
    uncertainty = ExactDecimalField(null=True, blank=True, help_text="empty: not known")
    repeatability = ExactDecimalField(null=True, blank=True)
    typed_because = models.CharField(
        max_length=500, blank=True, default="", help_text="why it was typed, where nothing was run"
    )
    air_pressure = ExactDecimalField(
        default=Decimal("1013.25"), help_text="hPa where it was weighed, for the air's buoyancy"
    )
    dof = models.PositiveIntegerField("degrees of freedom")
    due_on = models.DateField(help_text="to be repeated by")
    recorded_by = models.ForeignKey(project.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(db_default=Now())
    state = models.CharField(max_length=10, choices=State, default=State.PROPOSED)
    decided_by = models.ForeignKey(
        project.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    reason = models.TextField(blank=True, default="")
    plan_digest = models.CharField(max_length=64, blank=True, default="")
    signature = models.ForeignKey(
        Signature, models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = CalibrationQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("kind", CalibrationKind, name="calibration_kind_is_known"),
            models.CheckConstraint(
                name="calibration_decided_by_somebody",
                condition=Q(state="proposed", decided_at=None, decided_by=None, signature=None)
                | Q(
                    state="accepted", decided_at__isnull=False, decided_by__isnull=False,
                    signature__isnull=False,
                )
                | Q(
                    state="rejected", decided_at__isnull=False, decided_by__isnull=False,
                    signature=None,
                )
                & ~Q(reason=""),
            ),
            models.CheckConstraint(
                name="calibration_uncertainty_not_negative", condition=Q(uncertainty__gte=0)
            ),
            models.CheckConstraint(
                name="calibration_is_run_or_typed_with_a_reason",
                condition=Q(typed_because="", uncertainty__isnull=False)
                | (~Q(typed_because="") & Q(runs=[], uncertainty=None, repeatability=None)),
            ),
        ]  # fmt: skip
        triggers = [
            FIXED,
            *governed(
                subject="station",
                subject_id="n.station_id",
                site_id="l.site_id",
                label="l.name || ' · station ' || l.number",
                lookup="SELECT m.site_id, m.name, s.number FROM stations_station s"
                " JOIN stations_machine m ON m.id = s.machine_id WHERE s.id = n.station_id",
                exclude=("revision",),
            ),
        ]

    def __str__(self) -> str:
        return f"calibration {self.pk}"

    def get_absolute_url(self) -> str:
        """The calibration's page: what it measured, and what accepting it would change."""
        return link_to("calibration", self.pk) or reverse("stations:calibrations")

    @property
    def part(self) -> Part:
        """What it is a calibration of."""
        return PARTS[self.kind]

    @property
    def made_void(self) -> Replacement | None:
        """The replacement since which it says nothing of what is built in."""
        rows = Replacement.objects.filter(
            station=self.station_id, part=self.part, at__gte=self.recorded_at
        )
        return rows.order_by("at").first()

    @property
    def traits(self) -> dict[str, Decimal | None]:
        """The station's traits that accepting it sets, by field."""
        if self.kind == self.Kind.TEMPERATURE:
            return {"temperature_offset": self.value, "offset_uncertainty": self.uncertainty}
        return {
            "pulses_per_millilitre": self.value,
            "slope_uncertainty": self.uncertainty,
            "repeatability": self.repeatability,
        }

    @property
    def unit(self) -> str:
        """The UCUM code of its value."""
        return UNITS[self.kind]
