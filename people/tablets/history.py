"""How the history names tablets, and at which an entry was made."""

from collections.abc import Collection, Iterable, Mapping

from django.urls import reverse

from audit.alarms import Alarm, register_alarm
from audit.reading.choosing import lookup_in
from audit.registry import register_devices, register_subject
from people.tablets import taking_over  # noqa: F401 - listens to what ends sessions
from people.tablets.models import Tablet

FOUND_AT_MOST = 50


def register() -> None:
    """Called once the models are there."""
    register_subject("tablet", "Tablet", "people:tablet_edit", find=_named)
    register_devices(_names, lookup_in(Tablet.objects.all, everywhere=True))


def _named(text: str) -> Iterable[tuple[int, str]]:
    named = Tablet.objects.filter(name__icontains=text)
    return named.values_list("pk", "name")[:FOUND_AT_MOST]


def _names(ids: Collection[int]) -> Mapping[int, str]:
    return dict(Tablet.objects.filter(pk__in=ids).values_list("pk", "name"))


@register_alarm
def copied_keys() -> Iterable[Alarm]:
    """Tablets of which somebody has a copy of the cookie: they stay until they are revoked."""
    for tablet in Tablet.objects.filter(revoked_at=None).exclude(copied_at=None):
        words = f"A copy of the key of the tablet “{tablet.name}” was used: revoke it."
        yield Alarm(words, reverse("people:tablet_edit", args=[tablet.pk]))
