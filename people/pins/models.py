"""Somebody's PIN: that they have one, and since when; never what it is."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from audit.capture.governed import governed


class Pin(models.Model):
    """One a person, set by themselves; its hash alone is kept."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="pin"
    )
    secret = models.CharField(max_length=128, editable=False)
    set_at = models.DateTimeField("since", db_default=Now(), editable=False)

    class Meta:
        triggers = governed(
            subject="person",
            subject_id="n.user_id",
            label="(SELECT name FROM people_user WHERE id = n.user_id)",
            secret=("secret",),
        )

    def __str__(self) -> str:
        return f"PIN of {self.user}"
