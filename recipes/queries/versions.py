"""Versions by state."""

from typing import Any, Self

from django.db import models


class VersionQuerySet(models.QuerySet[Any]):
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
