"""Hearing no more of something, by a link that needs no sign-in and can do nothing else."""

from collections.abc import Iterable, Sequence

from django.core import signing
from django.db import transaction

from audit.errors import NotFound
from people.notices.kinds import How, kinds
from people.notices.models import Choice, NoticeRule

SALT = "people.notices.stop"


def stop_token(person_id: int, codes: Sequence[str]) -> str:
    """What a link carries: whose, and which kinds. It lasts as long as the mail may lie about."""
    return signing.dumps([person_id, *codes], salt=SALT)


def read_token(token: str) -> tuple[int, list[str]]:
    """Whose and which kinds. Raises NotFound for a token that we did not make."""
    try:
        person, *codes = signing.loads(token, salt=SALT)
    except (signing.BadSignature, ValueError, TypeError) as forged:
        raise NotFound("There is nothing by this address.") from forged
    return int(person), [str(code) for code in codes if code in kinds()]


def stop(token: str) -> list[str]:
    """Switch off what the token names, but for what an owner asks for; the kinds that were.

    Raises NotFound. Repeating does no harm.
    """
    person, codes = read_token(token)
    with transaction.atomic():
        asked = set(NoticeRule.objects.filter(kind__in=codes).values_list("kind", flat=True))
        off = [code for code in codes if code not in asked]
        choose(person, dict.fromkeys(off, How.OFF.value).items())
    return off


def choose(person_id: int, chosen: Iterable[tuple[str, str]]) -> None:
    """Write down how somebody wants to hear of some kinds."""
    Choice.objects.bulk_create(
        [Choice(person_id=person_id, kind=kind, how=how) for kind, how in chosen],
        update_conflicts=True,
        unique_fields=["person", "kind"],
        update_fields=["how"],
    )
