"""Answers kept so that a repeated request is not carried out twice."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from audit.capture.governed import exempt


@exempt("repeats the answer of a request whose changes are in the history themselves")
class IdempotencyKey(models.Model):
    """One acting request that succeeded, and the answer it got."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=100)
    request_digest = models.CharField("SHA-256 of method, path and body", max_length=64)
    status = models.PositiveSmallIntegerField()
    body = models.TextField()
    headers = models.JSONField(default=dict)
    created_at = models.DateTimeField(db_default=Now(), db_index=True)

    class Meta:
        """In the table it has had from the first."""

        db_table = "people_idempotencykey"
        constraints = [
            models.UniqueConstraint(fields=["user", "key"], name="idempotency_key_once"),
        ]

    def __str__(self) -> str:
        return self.key
