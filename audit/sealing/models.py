"""The ledger: an RFC 9162 Merkle tree over the history's entries, and its signed states.

Everything here can be worked out again from the entries, except the signatures. It is stored so
that a proof costs a few index probes, and so that a change of an entry shows.

Hashes that came together stand together, up to RUN in a row of 1 kB, which no index entry and no
row header of their own then costs: audit.sealing.runs takes them apart.
"""

from django.db import models
from django.db.models.functions import Mod
from django.db.models.lookups import Exact, Range

from audit.capture.governed import exempt, governed
from audit.capture.models import by_database
from audit.capture.triggers import insert_only

HASH = 32  # bytes of SHA-256
RUN = 32  # hashes a row at the most: below 2 kB, beyond which a row is stored out of line


def _whole(name: str) -> models.CheckConstraint:
    length = models.Func("hashes", function="octet_length", output_field=models.IntegerField())
    whole = models.Q(Exact(Mod(length, HASH), 0)) & models.Q(Range(length, (HASH, RUN * HASH)))
    return models.CheckConstraint(condition=whole, name=name)


@exempt("It is the seal over the history itself.")
class Leaf(models.Model):
    """Sealed entries whose ids follow one another: the first one's number, from 0 in the order of
    sealing, its id, and the leaf hashes of all.

    No foreign key: a seal outlives its entry, or removing an entry would remove the evidence.
    """

    index = models.BigIntegerField(primary_key=True)
    entry_id = models.BigIntegerField(unique=True)
    hashes = models.BinaryField()

    class Meta:
        """Insert-only."""

        default_permissions = ()
        constraints = [_whole("leaf_hashes_are_whole")]
        triggers = insert_only("leaf")

    def __str__(self) -> str:
        return f"leaves from {self.index}: entries from {self.entry_id}"


@exempt("It is the seal over the history itself.")
class Node(models.Model):
    """Complete subtrees of one level, from 1 up, side by side: the first holds 2^level leaves from
    offset x 2^level."""

    pk = models.CompositePrimaryKey("level", "offset")
    level = models.SmallIntegerField()
    offset = models.BigIntegerField()
    hashes = models.BinaryField()

    class Meta:
        """Insert-only."""

        default_permissions = ()
        constraints = [_whole("node_hashes_are_whole")]
        triggers = insert_only("node")

    def __str__(self) -> str:
        return f"nodes from {self.level}/{self.offset}"


@exempt("It is the seal over the history itself.")
class Checkpoint(models.Model):
    """A signed state of the history: a C2SP note over the first `size` entries' root.

    All entries at or below (`floor_txid`, `floor_id`) were sealed by then: audit.sealing.seal.
    Every column says what the note signs, `made_at` its time; in older ones floor and time are
    not signed (audit.ledger.stamp). `promise` is what the next one has to prove, and none in older
    ones: audit.sealing.appending.
    """

    id = models.BigAutoField(primary_key=True)
    size = models.BigIntegerField()
    root = models.BinaryField()
    note = models.TextField()
    made_at = models.DateTimeField(
        db_default=by_database("clock_timestamp()", models.DateTimeField()), editable=False
    )
    floor_txid = models.BigIntegerField()
    floor_id = models.BigIntegerField()
    promise = models.BinaryField(null=True)

    class Meta:
        """Insert-only. Two may have one size: a handover from key to key."""

        default_permissions = ()
        indexes = [models.Index(fields=["size"], name="checkpoint_size")]
        triggers = insert_only("checkpoint")

    def __str__(self) -> str:
        return f"checkpoint of {self.size} entries"


class LedgerKey(models.Model):
    """A public key that signs checkpoints, in the history like any other change. Insert-only.

    `public` and `replaces` are signed-note verifier keys; the secret half is never in here.
    """

    id = models.BigAutoField(primary_key=True)
    public = models.TextField("public key", unique=True)
    replaces = models.TextField("replaces", blank=True, default="")
    made_at = models.DateTimeField(
        "made", db_default=by_database("clock_timestamp()", models.DateTimeField())
    )

    class Meta:
        """Governed and insert-only."""

        verbose_name = "signing key"
        default_permissions = ()
        triggers = [
            *governed(subject="ledger_key", label="n.public"),
            *insert_only("ledger_key"),
        ]

    def __str__(self) -> str:
        return self.public


class SealingEventKind(models.TextChoices):
    """What happened to sealing, and its word on pages."""

    ADOPTED = "adopted", "began from a checkpoint"
    STOPPED = "stopped", "stopped"
    RESUMED = "resumed", "resumed"
    LATE = "late", "sealed entries late"
    RESTORED = "restored", "found the database restored"


class SealingEvent(models.Model):
    """Sealing began from a checkpoint it had no memory of, stopped or was resumed, or found what
    did not come in time. Insert-only."""

    id = models.BigAutoField(primary_key=True)
    kind = models.TextField("what happened", choices=SealingEventKind)
    words = models.TextField("what was found")
    at = models.DateTimeField(
        "at", db_default=by_database("clock_timestamp()", models.DateTimeField())
    )

    class Meta:
        """Governed and insert-only."""

        verbose_name = "sealing of the history"
        default_permissions = ()
        constraints = [
            models.CheckConstraint(
                name="sealing_event_kind_is_known",
                condition=models.Q(kind__in=SealingEventKind.values),
            )
        ]
        triggers = [
            *governed(subject="sealing", label="n.kind"),
            *insert_only("sealing_event"),
        ]

    def __str__(self) -> str:
        return f"sealing {self.kind}"
