"""What is kept of reconciliation: each run with what it found, and the baselines."""

import pgtrigger
from django.db import models
from django.db.models import Q

from audit.capture.governed import CONTEXT, ROW, exempt, governed, transition
from audit.capture.models import Operation, by_database, one_of
from audit.capture.triggers import FirmTrigger, insert_only
from audit.runs import RunState, kept_as_ended

ASKED = "(NEW.asked_by_id, NEW.asked_by, NEW.asked_at)"
WRITTEN_DOWN = [Operation.CREATED, Operation.CHANGED]
PROGRESS = ("runner", "attempts", "seen_at", "through", "findings", "counts")


class Reconciliation(models.Model):
    """One replay of the history against the tables; see audit.reconciling.

    Nobody asked for those of the night. `findings` are the first of each kind in each table as
    `audit.reconciling.report.Difference.stored` has them; `counts` says how many there are.
    """

    id = models.BigAutoField(primary_key=True)
    asked_by_id = models.BigIntegerField(null=True)
    asked_by = models.TextField(blank=True, default="")
    asked_at = models.DateTimeField(
        "asked", db_default=by_database("clock_timestamp()", models.DateTimeField())
    )
    state = models.CharField(max_length=8, choices=RunState, default=RunState.RUNNING)
    runner = models.CharField(max_length=32, blank=True, default="")
    attempts = models.PositiveSmallIntegerField(default=0)
    seen_at = models.DateTimeField(
        db_default=by_database("clock_timestamp()", models.DateTimeField())
    )
    finished_at = models.DateTimeField("ended", null=True)
    agrees = models.BooleanField("the tables are what the history says", null=True)
    verdict = models.TextField(blank=True, default="")
    tables = models.IntegerField("tables compared", default=0)
    rows = models.BigIntegerField("rows compared", default=0)
    entries = models.BigIntegerField("entries replayed", default=0)
    signatures = models.BigIntegerField("signatures worked out again", default=0)
    through = models.BigIntegerField("newest entry then", default=0)
    counts = models.JSONField(default=dict)
    findings = models.JSONField(default=list)

    class Meta:
        """At most one is under way."""

        ordering = ["-id"]
        verbose_name = "reconciliation"
        default_permissions = ()
        constraints = [
            one_of("state", RunState, name="reconciliation_state_is_known"),
            models.UniqueConstraint(
                fields=["state"], condition=Q(state="running"), name="reconciliation_one_running"
            ),
            models.CheckConstraint(
                name="reconciliation_done_has_an_answer",
                condition=~Q(state="done") | Q(agrees__isnull=False, finished_at__isnull=False),
            ),
        ]
        triggers = [
            *kept_as_ended("A reconciliation", "Reconciliations", ASKED),
            *governed(
                subject="reconciliation", label="'reconciliation ' || n.id", exclude=PROGRESS
            ),
        ]

    def __str__(self) -> str:
        return f"reconciliation {self.pk}"


class Baseline(models.Model):
    """From here on the history answers for these columns (`{table: [column, …]}`).

    What stood in them without an entry was written down as it stood: `rows` rows, by as many
    entries of the action "baseline.written". Insert-only, and by the tables' owner alone.
    """

    id = models.BigAutoField(primary_key=True)
    columns = models.JSONField("columns")
    rows = models.BigIntegerField("rows written down as they stood")
    made_at = models.DateTimeField(
        "made", db_default=by_database("clock_timestamp()", models.DateTimeField())
    )

    class Meta:
        """Governed and insert-only."""

        verbose_name = "baseline of the history"
        default_permissions = ()
        triggers = [
            *governed(subject="baseline", label="'baseline ' || n.id"),
            *insert_only("baseline"),
        ]

    def __str__(self) -> str:
        return f"baseline {self.pk}"


@exempt("its digest stands in the record of the archive, which is governed")
class Carried(models.Model):
    """What the entries of one archive said of a governed row; see audit.reconciling.carrying.

    `through` is the id of the archive's last entry. Insert-only, and by the tables' owner alone.
    """

    id = models.BigAutoField(primary_key=True)
    through = models.BigIntegerField()
    table_name = models.TextField()
    row_id = models.BigIntegerField()
    operation = models.TextField(choices=Operation)
    changes = models.JSONField()

    class Meta:
        """Insert-only."""

        default_permissions = ()
        constraints = [
            models.UniqueConstraint(
                fields=["through", "table_name", "row_id"], name="carried_once_per_row"
            ),
            one_of("operation", Operation, name="carried_operation_is_known"),
        ]
        triggers = insert_only("carried")

    def __str__(self) -> str:
        return f"{self.table_name} {self.row_id} through entry {self.through}"


class Structure(models.Model):
    """What the migrations make of the tables: `[table, rule in the database's words]` each.

    The history has their SHA-256, for they are long. Insert-only, and by the tables' owner alone;
    the newest counts. See audit.reconciling.structure.
    """

    id = models.BigAutoField(primary_key=True)
    rules = models.JSONField("rules")
    digest = models.CharField("SHA-256 of the rules, in hex", max_length=64)
    made_at = models.DateTimeField(
        "made", db_default=by_database("clock_timestamp()", models.DateTimeField())
    )

    class Meta:
        """Governed and insert-only."""

        verbose_name = "rules of the tables"
        default_permissions = ()
        triggers = [
            *governed(subject="structure", label="'rules ' || n.id", exclude=("rules",)),
            *insert_only("structure"),
        ]

    def __str__(self) -> str:
        return f"rules of the tables, {self.pk}"


WRITTEN = (
    f"SELECT * INTO c FROM audit_context(); INSERT INTO audit_entry ({CONTEXT}, {ROW}, changes)"  # noqa: S608
    f" SELECT {', '.join(f'c.{name}' for name in CONTEXT.split(', '))}, {ROW}, changes"
    " FROM new_rows; RETURN NULL;"
)


@exempt("each of its rows is an entry of the history, written by the same statement")
class BaselineRow(models.Model):
    """A row, or columns of one, written down as it stood. The door by which that gets an entry."""

    id = models.BigAutoField(primary_key=True)
    operation = models.TextField(choices=[(one.value, one.label) for one in WRITTEN_DOWN])
    table_name = models.TextField()
    row_id = models.BigIntegerField()
    subject_type = models.TextField()
    subject_id = models.BigIntegerField(null=True)
    subject = models.TextField()
    site_id = models.BigIntegerField(null=True)
    parameter = models.TextField(null=True)  # noqa: DJ001  as in Entry
    unit = models.TextField()
    changes = models.JSONField()

    class Meta:
        """Insert-only, and by the tables' owner alone."""

        default_permissions = ()
        constraints = [
            models.CheckConstraint(
                name="baseline_row_says_what_stood",
                condition=Q(operation__in=WRITTEN_DOWN),
            )
        ]
        triggers = [
            FirmTrigger(
                name="baseline_written",
                level=pgtrigger.Statement,
                when=pgtrigger.After,
                operation=pgtrigger.Insert,
                referencing=transition(new="new_rows"),
                declare=[("c", "record")],
                func=WRITTEN,
            ),
            *insert_only("baseline_row"),
        ]

    def __str__(self) -> str:
        return f"{self.table_name} {self.row_id} as it stood"
