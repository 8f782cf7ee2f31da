"""Tokens for programs that call the API.

Kept here rather than in django-rest-knox: its token's key is the hash itself, while a history
row needs a number, and it deletes other expired tokens while it checks one.
"""

import hashlib
from typing import Self

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models.functions import Now
from django.utils import timezone

from audit.capture.governed import governed
from audit.revision import Revised
from people.persons.models import User
from people.persons.permissions import may
from people.persons.verbs import Verb


class Scope(models.TextChoices):
    """What a token may be used for; never more than its owner may do."""

    READ = "read", "Read"
    ACT = "act", "Read and change"
    SIGN = "sign", "Sign (the password is asked for as well)"
    GATEWAY = "gateway", "Gateway: fetch settings and report read-backs only"


def digest_of(secret: str) -> str:
    """SHA-256 in hex. A token is 256 random bits, so a slow password hash would add nothing."""
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


class ApiTokenQuerySet(models.QuerySet["ApiToken"]):
    """Queries on tokens."""

    def usable(self) -> Self:
        """Neither revoked nor expired, and of somebody who may still sign in."""
        return self.filter(
            revoked_at=None, expires_at__gt=timezone.now(), user__is_active=True
        ).select_related("user")

    def revocable_by(self, person: User) -> Self:
        """One's own; everybody's for those who manage people."""
        mine = models.Q(user_id=person.pk)
        return self if may(person, Verb.PEOPLE_MANAGE) else self.filter(mine)


class ApiToken(Revised):
    """A program's key to the API: only its hash is kept, the secret is shown once."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="tokens"
    )
    name = models.CharField("what it is for", max_length=60)
    digest = models.CharField(max_length=64, unique=True, editable=False)
    hint = models.CharField("begins with", max_length=12, editable=False)
    scopes = ArrayField(models.CharField(max_length=10, choices=Scope.choices))
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    expires_at = models.DateTimeField("usable until")
    revoked_at = models.DateTimeField(null=True, editable=False)
    # Kept to the hour and outside the history: a note for its owner, not a record.
    last_used_at = models.DateTimeField(null=True, editable=False)

    objects = ApiTokenQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(scopes__contained_by=Scope.values)
                & models.Q(scopes__len__gte=1),
                name="token_scopes_are_known",
            ),
        ]
        triggers = governed(
            subject="token",
            label="n.name",
            exclude=("last_used_at", "revision"),
            secret=("digest",),
        )

    def __str__(self) -> str:
        return f"{self.name} ({self.hint}…)"

    @property
    def state(self) -> str:
        """One word for lists: usable, revoked or expired."""
        if self.revoked_at:
            return "revoked"
        return "expired" if self.expires_at <= timezone.now() else "usable"
