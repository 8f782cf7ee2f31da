"""Answers kept so that a repeated request does nothing twice; figures as they were typed."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q, Value
from django.db.models.functions import Abs, Now
from django.db.models.lookups import LessThanOrEqual

from audit.capture.governed import exempt, governed
from audit.capture.triggers import insert_only
from web.model_fields import ExactDecimalField
from web.units import FAHRENHEIT, OUNCE, OUNCE_GRAMS, STEP


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


def _is(unit: str, exact: "models.F | models.expressions.CombinedExpression", most: str) -> Q:
    """What is stored of a figure in `unit` is that, but for `most` by which it was rounded."""
    off = Abs(F("stored") - exact, output_field=ExactDecimalField())
    return Q(unit=unit) & Q(LessThanOrEqual(off, _number(most)))


def _number(text: str) -> Value:
    return Value(Decimal(text), output_field=ExactDecimalField())


@exempt("counts tries and marks answers as used, for minutes")
class CacheEntry(models.Model):
    """What web.lasting_cache keeps."""

    key = models.TextField(primary_key=True)
    value = models.JSONField()
    expires_at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return self.key


class TypedFigure(models.Model):
    """A figure that somebody typed in another unit than the product keeps, as they typed it.

    What it became is in the row that the same action wrote. It is about the same thing and stands
    in the history beside it, as evidence of what was read off a scale or a thermometer.
    """

    field = models.CharField("of the form", max_length=100)
    label = models.CharField(max_length=200)
    value = ExactDecimalField("as typed")
    unit = models.CharField(
        max_length=20, choices=[(one, one) for one in (FAHRENHEIT, FAHRENHEIT + STEP, OUNCE)]
    )
    stored = ExactDecimalField("in °C or g")
    subject_type = models.TextField()
    subject_id = models.BigIntegerField(null=True)
    subject = models.TextField()
    site_id = models.BigIntegerField(null=True)
    at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                name="typed_figure_unit_is_known",
                condition=Q(unit__in=[FAHRENHEIT, FAHRENHEIT + STEP, OUNCE]),
            ),
            models.CheckConstraint(
                name="typed_figure_is_what_is_stored",
                condition=_is(
                    FAHRENHEIT, (F("value") - _number("32")) * _number("5") / _number("9"),
                    "0.0000005",
                )
                | _is(
                    FAHRENHEIT + STEP, F("value") * _number("5") / _number("9"), "0.0000005"
                )
                | _is(OUNCE, F("value") * _number(str(OUNCE_GRAMS)), "0.0002"),
            ),
        ]  # fmt: skip
        triggers = [
            *insert_only("typed_figure"),
            *governed(
                subject="n.subject_type", subject_id="n.subject_id", label="n.subject",
                site_id="n.site_id",
                exclude=("subject_type", "subject_id", "subject", "site_id", "at"),
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"{self.label}: {self.value} {self.unit}"
