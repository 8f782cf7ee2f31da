"""What is kept of every signed plan, whatever its kind."""

from collections.abc import Mapping

from django.conf import settings
from django.db import models

from audit.revision import Revised
from people.signatures.models import Signature
from recipes.planning.accepting import accepted_in_words, stored_sentences


class SignedPlan(Revised):
    """Who signed, why, over which digest, and what they accepted by name.

    ``accepted`` is a list of flags as facts, each with the ids of its ``sites``; null where it was
    kept in words, in ``acknowledgement``.
    """

    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    reason = models.TextField()
    plan_digest = models.CharField(max_length=64)
    acknowledgement = models.TextField(
        blank=True, default="", help_text="what was flagged and accepted, where kept in words"
    )
    accepted = models.JSONField(null=True, blank=True)
    signature = models.ForeignKey(
        Signature, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        """No table of its own."""

        abstract = True

    def accepted_at(self, names: Mapping[int, str], *, whole: bool) -> list[str]:
        """What was accepted at sites of these ids and names; ``whole`` if it goes to no others."""
        if self.accepted is None:
            return accepted_in_words(self.acknowledgement, names.values(), whole=whole)
        return stored_sentences(self.accepted, names)
