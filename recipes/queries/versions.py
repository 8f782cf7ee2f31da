"""Versions by state."""

from collections.abc import Collection
from typing import TYPE_CHECKING, Any, Self

from django.db import models
from django.db.models import Q

from people.models import Policy, User
from people.permissions import may
from people.verbs import Verb

if TYPE_CHECKING:
    from recipes.models import Version  # noqa: F401 - named in the quoted base


class VersionQuerySet(models.QuerySet["Version"]):
    """Questions about versions."""

    def with_recipe(self) -> Self:
        """Versions with recipe, coffee, author and signature at hand."""
        return self.select_related(
            "recipe__coffee", "author", "last_editor", "signature", "lot", "change_request"
        )

    def with_formula(self) -> Self:
        """Versions with their formulas at hand."""
        return self.prefetch_related("formula")

    def in_review(self) -> Self:
        """Waiting for a second person's signature, the longest wait first."""
        return self.filter(state="in_review").order_by("submitted_at")

    def approved(self) -> Self:
        """The version of each recipe that may be published."""
        return self.filter(state="approved")

    def sealed(self) -> Self:
        """Submitted at least once and not returned since: their content is fixed."""
        return self.exclude(state="draft").exclude(content_digest="")

    def signed_as(self, digests: Collection[str] | models.QuerySet[Any, Any]) -> Self:
        """The signed versions of these contents: what control settings name by their digest."""
        return self.filter(content_digest__in=digests, signature__isnull=False)

    def awaiting_signature_of(self, user: User) -> Self:
        """In review, and this person may sign: they neither wrote nor asked for it."""
        if not may(user, Verb.RECIPE_APPROVE):
            return self.none()
        waiting = self.in_review()
        if Policy.current().sole_roaster:
            return waiting
        own = Q(author=user) | Q(last_editor=user) | Q(change_request__author=user)
        # A version without a request has no author of one: NULL must not hide it.
        return waiting.exclude(pk__in=self.in_review().filter(own).values("pk"))

    def drafts_of(self, user: User) -> Self:
        """Drafts this person wrote or edited last, those that came back from review first."""
        mine = Q(author=user) | Q(last_editor=user)
        return self.filter(mine, state="draft").order_by("submitted_at", "created_at")
