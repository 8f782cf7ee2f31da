"""The history of passkeys, and what they answered."""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.capture.triggers import insert_only
from audit.ledger import passkeys
from audit.vocabulary import register
from people.passkeys.guards import BY_ITSELF, OWN_CHALLENGE

# Those there were when their history began, written by the migration that made its table.
NOTED = register("passkeys.noted", "Noted the passkeys there were")
NAME = "(SELECT name FROM people_user WHERE id = n.user_id)"


class KeyChange(models.TextChoices):
    """What became of a passkey."""

    ADDED = "added", "Added"
    RENAMED = "renamed", "Renamed"
    REMOVED = "removed", "Removed"


class KeyEventQuerySet(models.QuerySet["KeyEvent"]):
    """Queries on the history of passkeys."""

    def of_factors(self, numbers: Collection[int]) -> "list[KeyEvent]":
        """All there is about these, the oldest first. One query, or none."""
        return list(self.filter(factor_id__in=numbers).order_by("pk")) if numbers else []

    def usable_by(self, user_pk: int) -> Self:
        """The passkeys somebody has now, as they were added."""
        ended = KeyEvent.objects.filter(
            factor_id=models.OuterRef("factor_id"),
            credential=models.OuterRef("credential"),
            event=KeyChange.REMOVED,
            pk__gt=models.OuterRef("pk"),
        )
        added = self.filter(user_id=user_pk, event=KeyChange.ADDED).exclude(credential="")
        return added.exclude(models.Exists(ended)).order_by("pk")


class KeyEvent(models.Model):
    """A passkey came, was named anew, or went. Written by a trigger on the library's own table.

    So whoever adds a key, by a page or by SQL, leaves its public key and the moment here for good.
    """

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="key_events")
    factor_id = models.BigIntegerField("number among the library's second factors")
    event = models.CharField(max_length=10, choices=KeyChange.choices)
    credential = models.TextField("credential id, base64url")
    attestation = models.TextField("attestation object with the public key, base64url")
    label = models.TextField("name its person gave it")
    at = models.DateTimeField(db_default=Now(), editable=False)

    objects = KeyEventQuerySet.as_manager()

    class Meta:
        triggers = [
            BY_ITSELF,
            *insert_only("key_event"),
            *governed(subject="person", subject_id="n.user_id", label=NAME),
        ]
        constraints = [one_of("event", KeyChange, name="key_event_is_known")]
        indexes = [models.Index(fields=["factor_id", "credential"], name="key_event_of_key")]

    def __str__(self) -> str:
        return f"{self.label}: {self.get_event_display().lower()}"

    def same_key(self, other: "KeyEvent") -> bool:
        """Whether it is about the same passkey of the same person's account."""
        return (self.factor_id, self.credential) == (other.factor_id, other.credential)

    def key(self, until: datetime | None) -> passkeys.Key:
        """The public key, for checking."""
        return passkeys.Key(self.user_id, self.attestation, self.at, until)


class Assertion(models.Model):
    """What a passkey answered when its person signed, whole (W3C Web Authentication). Insert-only.

    Written by people.passkeys.asking only; bytes in base64url without padding.
    """

    key = models.ForeignKey(KeyEvent, models.PROTECT, related_name="assertions")
    statement = models.TextField("what was signed for, RFC 8785")
    challenge = models.CharField("SHA-256 of the statement, in hex", max_length=64, unique=True)
    authenticator_data = models.TextField()
    client_data = models.TextField()
    signature = models.TextField()
    counter = models.BigIntegerField("the passkey's own count of what it signed")

    class Meta:
        triggers = [
            OWN_CHALLENGE,
            *insert_only("assertion"),
            *governed(
                subject="person",
                subject_id="l.user_id",
                label="l.name",
                lookup="SELECT u.id AS user_id, u.name FROM people_keyevent k"
                " JOIN people_user u ON u.id = k.user_id WHERE k.id = n.key_id",
            ),
        ]

    def __str__(self) -> str:
        return f"answer {self.pk} of {self.key}"

    def answer(self) -> passkeys.Assertion:
        """For checking."""
        return passkeys.Assertion(
            self.statement, self.authenticator_data, self.client_data, self.signature
        )


def why_unproven(
    said: passkeys.Said, at: datetime, assertion: Assertion | None, events: Sequence[KeyEvent]
) -> str:
    """Why a passkey did not give that signature; empty where it did.

    ``events`` has all there is about its key (KeyEvent.objects.of_factors), the oldest first.
    """
    if assertion is None:
        return "no answer of a passkey is kept with it"
    key = assertion.key
    later = (each for each in events if each.pk > key.pk and each.same_key(key))
    ends = [each.at for each in later if each.event == KeyChange.REMOVED]
    try:
        passkeys.require_proof(said, at, assertion.answer(), key.key(min(ends, default=None)))
    except passkeys.PasskeyError as error:
        return str(error)
    return ""
