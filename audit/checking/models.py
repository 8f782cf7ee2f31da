"""A check of the whole history that an owner asked for, and what it found."""

from django.db import models
from django.db.models import Q

from audit.capture.governed import governed
from audit.capture.models import by_database, one_of
from audit.runs import RunState, kept_as_ended

ASKED = "(NEW.asked_by_id, NEW.asked_by, NEW.asked_at, NEW.since, NEW.key)"
PROGRESS = (
    *("runner", "attempts", "seen_at", "checked", "size", "newest", "newest_at"),
    *("since", "key", "findings", "counts"),
)


class HistoryCheck(models.Model):
    """One run of the offline check over the stored history; see audit.checking.

    Numbers are of entries. ``findings`` are ``{"kind", "words", "entries": [id, …]}``, the first
    of each kind; ``counts`` says how many of each kind there are.
    """

    id = models.BigAutoField(primary_key=True)
    asked_by_id = models.BigIntegerField()
    asked_by = models.TextField()
    asked_at = models.DateTimeField(
        "asked", db_default=by_database("clock_timestamp()", models.DateTimeField())
    )
    since = models.TextField("checkpoint kept outside", blank=True, default="")
    key = models.TextField("signing key written down", blank=True, default="")
    state = models.CharField(max_length=8, choices=RunState, default=RunState.RUNNING)
    runner = models.CharField(max_length=32, blank=True, default="")
    attempts = models.PositiveSmallIntegerField(default=0)
    seen_at = models.DateTimeField(
        db_default=by_database("clock_timestamp()", models.DateTimeField())
    )
    checked = models.BigIntegerField(default=0)
    size = models.BigIntegerField(default=0)
    newest = models.TextField("newest checkpoint", blank=True, default="")
    newest_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField("ended", null=True)
    intact = models.BooleanField(null=True)
    verdict = models.TextField(blank=True, default="")
    entries = models.BigIntegerField("entries listed", default=0)
    left_out = models.BigIntegerField("entries kept elsewhere", default=0)
    proven = models.BigIntegerField("entries proven", default=0)
    checkpoints = models.BigIntegerField("checkpoints believed", default=0)
    findings = models.JSONField(default=list)
    counts = models.JSONField(default=dict)

    class Meta:
        """At most one is under way."""

        ordering = ["-id"]
        verbose_name = "check of the history"
        default_permissions = ()
        constraints = [
            one_of("state", RunState, name="history_check_state_is_known"),
            models.UniqueConstraint(
                fields=["state"], condition=Q(state="running"), name="history_check_one_running"
            ),
            models.CheckConstraint(
                name="history_check_done_has_an_answer",
                condition=~Q(state="done") | Q(intact__isnull=False, finished_at__isnull=False),
            ),
        ]
        triggers = [
            *kept_as_ended("A check", "Checks", ASKED),
            *governed(subject="history_check", label="'check ' || n.id", exclude=PROGRESS),
        ]

    def __str__(self) -> str:
        return f"check {self.pk} of the history"
