"""Browsers that take messages for somebody, and the public half of the key that signs for us."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from audit.capture.governed import exempt
from people.sign_in.models import End, SignIn

# A session that ran out was not ended: whoever signed in there wants to be told tomorrow too.
LASTING = (End.EXPIRED, End.AGAIN)


class DeviceQuerySet(models.QuerySet["Device"]):
    """Queries on devices."""

    def of(self, person: models.Model) -> Self:
        """One person's, in the order in which they were added."""
        return self.filter(person_id=person.pk).order_by("pk")

    def left(self) -> Self:
        """Whose person may not sign in any more, or whose session was ended there."""
        ended = Q(sign_in__ended_at__isnull=False) & ~Q(sign_in__end__in=LASTING)
        return self.filter(Q(person__is_active=False) | ended)


@exempt("where somebody wants to be told; nothing rests on it, and it goes with the session")
class Device(models.Model):
    """A push subscription (W3C Push API): one browser on one device, for one person."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="devices"
    )
    endpoint = models.CharField(max_length=1000, unique=True)
    p256dh = models.CharField("the browser's public key", max_length=100)
    auth = models.CharField("what it shares with us", max_length=40)
    made_for = models.CharField("our public key then", max_length=100)
    label = models.CharField("with", max_length=200, blank=True)
    # SHA-256 of the number that its cookie carries: knows it again when somebody signs in or out.
    browser = models.CharField(max_length=64, db_index=True)
    sign_in = models.ForeignKey(SignIn, on_delete=models.SET_NULL, null=True, related_name="+")
    added_at = models.DateTimeField("since", db_default=Now())
    told_at = models.DateTimeField("last told", null=True)
    failures = models.PositiveSmallIntegerField("tries in a row that failed", default=0)

    objects = DeviceQuerySet.as_manager()

    def __str__(self) -> str:
        return self.label or "a browser"


@exempt("the public half of a key that is in a file; not what the history is signed with")
class PushKey(models.Model):
    """What browsers are told so that they take messages of ours alone (RFC 8292): one row."""

    public = models.CharField(max_length=100)
    at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(pk=1), name="push_key_is_one_row")]

    def __str__(self) -> str:
        return self.public
