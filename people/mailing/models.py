"""Addresses that a mail server refused."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F
from django.db.models.functions import Now

from audit.capture.governed import exempt


class UndeliverableQuerySet(models.QuerySet["Undeliverable"]):
    """Queries on refused addresses."""

    def standing(self) -> Self:
        """Those that are still the person's address: another one is tried afresh."""
        return self.filter(address=F("person__email"), person__is_active=True)


@exempt("what a mail server answered; the address itself is in the history")
class Undeliverable(models.Model):
    """The address a server refused for somebody, and in which words; until another is entered."""

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="undeliverable"
    )
    address = models.EmailField("e-mail address")
    said = models.CharField("what the server said", max_length=300)
    at = models.DateTimeField("when", db_default=Now())

    objects = UndeliverableQuerySet.as_manager()

    def __str__(self) -> str:
        return self.address
