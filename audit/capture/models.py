"""The history: one line for every change, written by the database, never altered."""

from collections.abc import Iterable
from enum import Enum

from django.db import models
from django.db.models.expressions import RawSQL

from audit.capture.context import Channel
from audit.capture.devices import BEGINS, PATTERN
from audit.capture.governed import exempt
from audit.capture.triggers import insert_only, stamped


def by_database(sql: str, output: "models.Field[object, object]") -> RawSQL:
    """A column the database fills in."""
    return RawSQL(sql, (), output_field=output)  # noqa: S611


DEVICE = models.Func(models.F("request_id"), models.Value(PATTERN), function="substring")
"""The number of the device, as text; NULL where there is none."""


def one_of(field: str, choices: Iterable[Enum], *, name: str) -> models.CheckConstraint:
    """A check that the database makes as well: `field` holds one of these, or NULL if it may."""
    values = [str(choice.value) for choice in choices]
    return models.CheckConstraint(condition=models.Q((f"{field}__in", values)), name=name)


class Operation(models.TextChoices):
    """What happened to the row."""

    CREATED = "created", "Created"
    CHANGED = "changed", "Changed"
    REMOVED = "removed", "Removed"
    REFUSED = "refused", "Refused"


@exempt("It is the history itself.")
class Entry(models.Model):
    """One line of the history. Names are kept as text, so that it outlives people and things."""

    id = models.BigAutoField(primary_key=True)
    at = models.DateTimeField(
        db_default=by_database("clock_timestamp()", models.DateTimeField()), editable=False
    )
    txid = models.BigIntegerField(
        db_default=by_database("(pg_current_xact_id()::text)::bigint", models.BigIntegerField())
    )
    db_role = models.TextField(db_default=by_database("(session_user)::text", models.TextField()))
    actor_id = models.BigIntegerField(null=True)
    actor = models.TextField(db_default="")
    role = models.TextField(db_default="")
    # Sealed as "road", which is therefore what its column is called for good.
    channel = models.TextField(choices=Channel, db_default=Channel.DATABASE.value, db_column="road")
    client_addr = models.GenericIPAddressField(null=True)
    request_id = models.TextField(db_default="")
    action = models.TextField(db_default="database.changed")
    operation = models.TextField(choices=Operation)
    table_name = models.TextField(db_default="")
    row_id = models.BigIntegerField(null=True)
    subject_type = models.TextField(db_default="")
    subject_id = models.BigIntegerField(null=True)
    subject = models.TextField(db_default="")
    site_id = models.BigIntegerField(null=True)
    parameter = models.TextField(null=True)  # noqa: DJ001  absent is not a parameter named ''
    unit = models.TextField(db_default="")
    changes = models.JSONField(default=dict)  # {column: [old, new]}, decimals as text
    reason = models.TextField(db_default="")
    signature_id = models.BigIntegerField(null=True)

    class Meta:
        """Every index ends in id, so that a filtered page is one backward range scan.

        Each costs about 1 µs a row in bulk; `at` is only probed to turn dates into ids, and
        `txid` is only walked by the sealer.
        """

        default_permissions = ("view",)
        indexes = [
            models.Index(fields=["site_id", "id"], name="entry_site"),
            models.Index(fields=["subject_type", "subject_id", "id"], name="entry_subject"),
            models.Index(fields=["actor_id", "id"], name="entry_actor"),
            models.Index(fields=["action", "id"], name="entry_action"),
            models.Index(
                fields=["parameter", "id"],
                name="entry_parameter",
                condition=models.Q(parameter__isnull=False),
            ),
            # What was refused is little among much: it costs what is done nothing.
            models.Index(
                fields=["operation", "id"],
                name="entry_refused",
                condition=models.Q(operation="refused"),
            ),
            # What was done at a device the program knows: its number begins the request's id.
            models.Index(
                DEVICE,
                "id",
                name="entry_device",
                condition=models.Q(request_id__startswith=BEGINS),
            ),
            models.Index(fields=["at"], name="entry_at"),
            # The order of sealing, see audit.sealing.seal.
            models.Index(fields=["txid", "id"], name="entry_txid"),
        ]
        constraints = [
            one_of("operation", Operation, name="entry_operation_known"),
            one_of("channel", Channel, name="entry_channel_known"),
        ]
        triggers = [stamped(), *insert_only("entry")]

    def __str__(self) -> str:
        return f"{self.at} {self.actor}: {self.action} {self.subject}"
