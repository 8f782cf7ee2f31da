"""What is stated of one parameter, as a row: of a formula, of a variant."""

from django.db import models
from django.db.models import Q

from web.model_fields import ExactDecimalField


class StatedRow(models.Model):
    """A target with its tolerance, or a text."""

    code = models.CharField(max_length=40)
    target = ExactDecimalField(null=True, blank=True)
    below = ExactDecimalField(null=True, blank=True)
    above = ExactDecimalField(null=True, blank=True)
    text = models.CharField(max_length=200, blank=True)

    class Meta:
        """No table of its own."""

        abstract = True

    def __str__(self) -> str:
        return f"{self.code}: {self.text or self.target}"


def stated_constraints(kind: str) -> list[models.BaseConstraint]:
    """What the database holds of each row, whatever way it was written."""
    return [
        models.CheckConstraint(
            name=f"{kind}_value_is_number_or_text",
            condition=Q(target__isnull=False, text="")
            | (Q(target=None, below=None, above=None) & ~Q(text="")),
        ),
        models.CheckConstraint(
            name=f"{kind}_tolerance_is_not_negative",
            condition=(Q(below=None) | Q(below__gte=0)) & (Q(above=None) | Q(above__gte=0)),
        ),
    ]
