"""The records of what was archived: which entries, in which file, with which digests."""

import pgtrigger
from django.contrib.postgres.constraints import ExclusionConstraint
from django.db import models
from django.db.models import F, Func, Q, Value

from audit.capture.governed import governed
from audit.capture.models import by_database
from audit.capture.triggers import FirmTrigger, insert_only, refusal

MONTH = r"^\d{4}-(0[1-9]|1[0-2])$"
DIGEST = r"^[0-9a-f]{64}$"

# So that a record can only speak of entries that were sealed, and of all of them. Hashes are taken
# out of their rows (audit.sealing.models.RUN), the first and last of which may hold others too.
TRUE = f"""
    IF (SELECT (count(*), min(l.index + g), max(l.index + g), encode(sha256(string_agg(
            substring(l.hashes FROM 32 * g + 1 FOR 32), ''::bytea ORDER BY l.index + g)), 'hex'))
        FROM audit_leaf l CROSS JOIN LATERAL generate_series(0, octet_length(l.hashes) / 32 - 1) g
        WHERE l.entry_id BETWEEN NEW.first_id - 31 AND NEW.last_id
            AND l.entry_id + g BETWEEN NEW.first_id AND NEW.last_id)
        IS DISTINCT FROM (NEW.entries, NEW.first_leaf, NEW.last_leaf, NEW.leaves)
    THEN {refusal("A record in % has to say what was sealed.")} END IF;
    RETURN NEW;
"""  # noqa: S608  a constant


class Archive(models.Model):
    """One partition's entries, moved to a file. The record is an entry of the history itself.

    Months ("2026-11") are those it was open in, both included; so are the first and last id, and
    leaf (from 0). `leaves` is the SHA-256 over their leaf hashes in order, `sha256` that of the
    file, `size` its bytes, `checkpoint` the number of entries its newest checkpoint speaks of.
    `carried` is the digest of what is carried on of its entries: audit.reconciling.carrying.
    """

    id = models.BigAutoField(primary_key=True)
    file = models.TextField("file", unique=True)
    sha256 = models.TextField("SHA-256")
    size = models.BigIntegerField("bytes")
    first_month = models.TextField("first month")
    last_month = models.TextField("last month")
    began_at = models.DateTimeField("first entry at")
    ended_at = models.DateTimeField("last entry at")
    entries = models.BigIntegerField("entries")
    first_id = models.BigIntegerField("first id")
    last_id = models.BigIntegerField("last id")
    first_leaf = models.BigIntegerField("first leaf")
    last_leaf = models.BigIntegerField("last leaf")
    leaves = models.TextField("digest of the leaf hashes")
    checkpoint = models.BigIntegerField("entries signed for")
    carried = models.CharField(
        "digest of what is carried on", max_length=64, blank=True, db_default=""
    )
    made_at = models.DateTimeField(
        "made", db_default=by_database("clock_timestamp()", models.DateTimeField())
    )

    class Meta:
        """Governed and insert-only; the program's role may only read it."""

        verbose_name = "archive of the history"
        default_permissions = ()
        constraints = [
            models.CheckConstraint(
                name="archive_is_whole",
                condition=Q(
                    sha256__regex=DIGEST, leaves__regex=DIGEST, size__gt=0, entries__gt=0,
                    first_month__regex=MONTH, last_month__regex=MONTH,
                    last_id__gte=F("first_id"), last_leaf__gte=F("first_leaf"),
                    checkpoint__gt=F("last_leaf"),
                ),
            ),
            ExclusionConstraint(
                name="archive_entries_once",
                expressions=[
                    (Func("first_id", "last_id", Value("[]"), function="int8range"), "&&"),
                ],
            ),
        ]  # fmt: skip
        triggers = [
            FirmTrigger(
                name="archive_true",
                level=pgtrigger.Row,
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func=TRUE,
            ),
            *governed(subject="archive", label="n.file"),
            *insert_only("archive"),
        ]

    def __str__(self) -> str:
        return self.file

    @property
    def months(self) -> str:
        """'2026-11' or '2026-11 to 2027-01'."""
        if self.first_month == self.last_month:
            return self.first_month
        return f"{self.first_month} to {self.last_month}"
