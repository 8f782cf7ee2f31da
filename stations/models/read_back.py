"""What a slot was found to hold."""

from django.conf import settings as project
from django.db import models
from django.db.models.functions import Now

from audit.governed import governed, insert_only
from stations.models.equipment import Slot
from stations.models.placement import Placement


class ReadBack(models.Model):
    """What a slot was found to hold, by a person or a gateway, and how that compared.

    ``found`` maps codes to what was read, as text; ``verdicts`` maps every expected code to
    ``matches``, ``differs`` or ``missing``.
    """

    slot = models.ForeignKey(Slot, models.PROTECT, related_name="read_backs")
    placement = models.ForeignKey(Placement, models.PROTECT, related_name="read_backs")
    by = models.ForeignKey(project.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField(db_default=Now())
    found = models.JSONField()
    verdicts = models.JSONField()
    verdict = models.CharField(max_length=8, choices=Placement.Verdict)

    class Meta:
        ordering = ["-id"]
        triggers = [
            *insert_only("read_back"),
            *governed(
                subject="slot",
                subject_id="n.slot_id",
                site_id="l.site_id",
                label="l.title",
                lookup="SELECT p.site_id, s.title FROM stations_placement p"
                " JOIN stations_controlsettings s ON s.id = p.settings_id"
                " WHERE p.id = n.placement_id",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.slot}: {self.get_verdict_display()}"
