"""What a mail server says no to: kept beside the person, and told to owners."""

from collections.abc import Iterable

from django.db.models.functions import Now
from django.urls import reverse

from audit.alarms import Alarm, register_alarm
from audit.characters import visible
from people.mailing.models import Undeliverable

SAID = 300  # characters of a server's answer that are kept
SHOWN = 5  # addresses that are told one by one


def in_short(said: str) -> str:
    """A server's answer as one line that may be shown and kept."""
    return visible(" ".join(said.split()))[:SAID]


def note_refusal(*, person_id: int, address: str, said: str) -> None:
    """The server will not take mail to that address of theirs."""
    kept = {"address": address, "said": in_short(said), "at": Now()}
    Undeliverable.objects.update_or_create(person_id=person_id, defaults=kept)


def forget_refusal(person_id: int) -> None:
    """Mail to them was taken after all."""
    Undeliverable.objects.filter(person_id=person_id).delete()


def refusal_of(person_id: int) -> Undeliverable | None:
    """What stands against the address they have now, if anything does."""
    return Undeliverable.objects.standing().filter(person_id=person_id).first()


@register_alarm
def undeliverable() -> Iterable[Alarm]:
    """Whose mail does not arrive: an owner enters another address."""
    found = list(
        Undeliverable.objects.standing().select_related("person").order_by("at")[: SHOWN + 1]
    )
    for each in found[:SHOWN]:
        words = f"Mail to {each.person} is refused: {each.said}"
        yield Alarm(words, reverse("people:edit", args=[each.person_id]), since=each.at)
    if len(found) > SHOWN:
        yield Alarm("Mail to more people is refused", reverse("people:list"))
