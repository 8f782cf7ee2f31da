"""What gateways tell, as it came, and what is known of a slot and a station by it."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from audit.capture.governed import exempt
from audit.capture.models import one_of
from stations.equipment.models import Slot, Station
from stations.gateways.guards import EVENT_STAYS
from stations.gateways.models import Gateway
from stations.shots.models import CheckShot
from stations.slots.models import Placement


class EventState(models.TextChoices):
    """What became of an event."""

    TAKEN = "taken", "taken"
    REFUSED = "refused", "refused"


@exempt("What a gateway told, as it came and never changed; what follows from it is governed.")
class GatewayEvent(models.Model):
    """One event of a gateway's outbox: a CloudEvent, once."""

    gateway = models.ForeignKey(Gateway, models.PROTECT, related_name="events", db_index=False)
    event_id = models.UUIDField()
    sequence = models.BigIntegerField()
    type = models.CharField(max_length=60)
    time = models.DateTimeField(help_text="by the gateway's clock")
    at = models.DateTimeField(help_text="by ours: its time, corrected by the offset of its batch")
    received_at = models.DateTimeField(db_default=Now())
    data = models.JSONField(null=True)
    state = models.CharField(max_length=7, choices=EventState)
    problems = models.JSONField(default=list)
    shot = models.OneToOneField(
        CheckShot, models.PROTECT, null=True, related_name="event", db_index=False
    )

    class Meta:
        ordering = ["-id"]
        constraints = [
            one_of("state", EventState, name="gateway_event_state_is_known"),
            models.UniqueConstraint(fields=["gateway", "event_id"], name="gateway_event_once"),
            models.UniqueConstraint(fields=["gateway", "sequence"], name="gateway_sequence_once"),
            models.CheckConstraint(name="gateway_sequence_from_one", condition=Q(sequence__gte=1)),
        ]
        indexes = [
            # What people look for on a gateway's page: what was refused, and faults.
            models.Index(
                fields=["gateway", "-id"], name="gateway_event_refused",
                condition=Q(state="refused"),
            ),
            models.Index(
                fields=["gateway", "-at"], name="gateway_event_fault",
                condition=Q(type="portaledger.fault.v1"),
            ),
        ]  # fmt: skip
        triggers = [EVENT_STAYS]

    def __str__(self) -> str:
        return f"{self.type} {self.sequence}"


@exempt("When a slot was last read by a gateway, reading by reading; a difference is governed.")
class SlotSeen(models.Model):
    """The last time that a gateway read a slot: what it held for which placement."""

    slot = models.OneToOneField(Slot, models.PROTECT, related_name="seen")
    placement = models.ForeignKey(Placement, models.PROTECT, related_name="+", db_index=False)
    at = models.DateTimeField()
    verdict = models.CharField(max_length=8, choices=Placement.Verdict)
    # The last time it matched, under any placement that is as its settings say.
    good_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [one_of("verdict", Placement.Verdict, name="slot_seen_verdict_is_known")]

    def __str__(self) -> str:
        return f"slot {self.slot_id} at {self.at}"


@exempt("Whether a station answers its gateway: a note of the last minute.")
class StationContact(models.Model):
    """What a gateway last said of a station: whether it answers, and since when not."""

    station = models.OneToOneField(Station, models.PROTECT, related_name="contact")
    gateway = models.ForeignKey(Gateway, models.PROTECT, related_name="contacts")
    answers = models.BooleanField()
    told_at = models.DateTimeField()
    answered_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"station {self.station_id}"
