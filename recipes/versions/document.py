"""A numbered, reviewed document: a recipe's version, a menu's. What both keep, and their states."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from audit.capture.models import one_of
from audit.revision import Revised
from people.signatures.models import Signature


class VersionState(models.TextChoices):
    """Document control states (ISO 9001, 7.5.3)."""

    DRAFT = "draft", "draft"
    IN_REVIEW = "in_review", "in review"
    APPROVED = "approved", "approved"
    SUPERSEDED = "superseded", "superseded"
    WITHDRAWN = "withdrawn", "withdrawn"


class Document(Revised):
    """One number of something that is drafted, reviewed and signed by a second person."""

    number = models.PositiveIntegerField()
    state = models.CharField(max_length=10, choices=VersionState, default=VersionState.DRAFT)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    last_editor = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    note = models.TextField(blank=True, help_text="why this version is the way it is")
    content_digest = models.CharField(max_length=64, blank=True)
    created_at = models.DateTimeField(db_default=Now())
    submitted_at = models.DateTimeField(null=True, blank=True)
    submitted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    signature = models.ForeignKey(
        Signature, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        """No table of its own."""

        abstract = True

    @property
    def is_returned(self) -> bool:
        """Whether it is a draft that came back from review."""
        return self.state == VersionState.DRAFT and self.submitted_at is not None


def document_constraints(kind: str, of: str) -> list[models.BaseConstraint]:
    """What the database holds of each row: one approved of each ``of``, signed over a digest."""
    return [
        models.UniqueConstraint(fields=[of, "number"], name=f"{kind}_number_once_per_{of}"),
        models.UniqueConstraint(
            fields=[of], condition=Q(state="approved"), name=f"{kind}_one_approved"
        ),
        one_of("state", VersionState, name=f"{kind}_state_is_known"),
        models.CheckConstraint(
            name=f"{kind}_signed_once_approved",
            condition=~Q(state__in=["approved", "superseded"]) | Q(signature__isnull=False),
        ),
        models.CheckConstraint(
            name=f"{kind}_digest_from_review_on",
            condition=Q(state__in=["draft", "withdrawn"])
            | Q(content_digest__regex="^[0-9a-f]{64}$"),
        ),
    ]
