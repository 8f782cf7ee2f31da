"""What machines of one construction are able to set."""

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from audit.capture.governed import governed
from audit.revision import Revised
from web.model_fields import ExactDecimalField


class MachineType(Revised):
    """What machines of one construction are able to set; shared by all that are built alike."""

    name = models.CharField(max_length=80, unique=True)
    ends_by = ArrayField(
        models.CharField(max_length=20), help_text="how a shot can end on these machines"
    )

    class Meta:
        ordering = ["name"]
        triggers = governed(subject="machine type", label="n.name", exclude=("revision",))

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """The page that lists its abilities."""
        return reverse("stations:machine_type", args=[self.pk])


class Ability(models.Model):
    """One parameter a machine can set: its range and step, in the machine's own unit."""

    machine_type = models.ForeignKey(MachineType, models.PROTECT, related_name="abilities")
    parameter = models.CharField(max_length=40)
    minimum = ExactDecimalField()
    maximum = ExactDecimalField()
    resolution = ExactDecimalField()

    class Meta:
        ordering = ["machine_type", "parameter"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine_type", "parameter"], name="ability_once_per_parameter"
            ),
            models.CheckConstraint(
                name="ability_range_is_ordered", condition=Q(minimum__lte=F("maximum"))
            ),
            models.CheckConstraint(
                name="ability_resolution_is_positive", condition=Q(resolution__gt=0)
            ),
        ]
        triggers = governed(
            subject="machine type", subject_id="n.machine_type_id", parameter="n.parameter"
        )

    def __str__(self) -> str:
        return f"{self.machine_type}: {self.parameter}"
