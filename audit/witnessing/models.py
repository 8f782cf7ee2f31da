"""What witnesses said: their cosignatures, and when one refused, fell silent or cosigned again."""

from django.db import models

from audit.capture.governed import exempt, governed
from audit.capture.models import by_database
from audit.capture.triggers import insert_only


@exempt("It is a witness's own signature over the seal: it proves itself, and nothing else can.")
class Cosignature(models.Model):
    """A witness's signature line over one checkpoint, checked when it came.

    No foreign key: it outlives its checkpoint, or removing that would remove the evidence.
    """

    id = models.BigAutoField(primary_key=True)
    checkpoint_id = models.BigIntegerField()
    size = models.BigIntegerField()
    witness = models.TextField()  # its public key
    line = models.TextField()
    at = models.DateTimeField()  # by the witness's own clock
    received_at = models.DateTimeField(
        db_default=by_database("clock_timestamp()", models.DateTimeField()), editable=False
    )

    class Meta:
        """Insert-only."""

        default_permissions = ()
        # Not unique: a row that somebody wrote must not stand in the way of the true one.
        indexes = [
            models.Index(fields=["witness", "size"], name="cosignature_newest"),
            models.Index(fields=["checkpoint_id"], name="cosignature_checkpoint"),
        ]
        triggers = insert_only("cosignature")

    def __str__(self) -> str:
        return f"cosignature of {self.size} entries"


class WitnessEventKind(models.TextChoices):
    """What a witness came to do, and its word on pages."""

    REFUSED = "refused", "refuses"
    SILENT = "silent", "gives no cosignature"
    COSIGNS = "cosigns", "cosigns"


class WitnessEvent(models.Model):
    """A witness refused, fell silent or cosigned again: one row each time that changes.

    Insert-only.
    """

    id = models.BigAutoField(primary_key=True)
    kind = models.TextField("what happened", choices=WitnessEventKind)
    witness = models.TextField("witness")  # its public key
    words = models.TextField("what it said")
    at = models.DateTimeField(
        "at", db_default=by_database("clock_timestamp()", models.DateTimeField())
    )

    class Meta:
        """Governed and insert-only."""

        verbose_name = "witness of the history"
        default_permissions = ()
        indexes = [models.Index(fields=["witness", "id"], name="witness_event_newest")]
        constraints = [
            models.CheckConstraint(
                name="witness_event_kind_is_known",
                condition=models.Q(kind__in=WitnessEventKind.values),
            )
        ]
        triggers = [
            *governed(subject="witness", label="split_part(n.witness, '+', 1)"),
            *insert_only("witness_event"),
        ]

    def __str__(self) -> str:
        return f"witness {self.kind}"
