"""A message in words: what it is about, each thing with its address inside the product."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from email.utils import parseaddr

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.db.models import Count, F, Window
from django.db.models.functions import RowNumber
from django.template.loader import render_to_string
from django.urls import reverse

from people.notices.finding import one_line
from people.notices.hearing import still_heard
from people.notices.kinds import kinds
from people.notices.models import Matter, Message, Notice
from people.notices.stopping import stop_token

LISTED = 20  # matters that one message names; of more it says how many
PREFIX = "[Portaledger] "
SUBJECT = 180  # characters


@dataclass(frozen=True, slots=True)
class Told:
    """What one message has to tell now."""

    matters: Sequence[Matter]
    more: int

    @property
    def title(self) -> str:
        """Its subject."""
        first, others = one_line(self.matters[0].title), len(self.matters) - 1 + self.more
        return f"{first}, and {others} more" if others else first


def told_by(messages: Collection[Message]) -> dict[int, Told]:
    """By message, what of it still lasts and its person may still hear of. Two queries.

    One that is left out has nothing to tell any more.
    """
    rows = (
        Notice.objects.filter(message__in=messages, matter__ended_at=None)
        .annotate(
            place=Window(RowNumber(), partition_by="message", order_by=F("matter").desc()),
            of=Window(Count("pk"), partition_by="message"),
        )
        .filter(place__lte=LISTED)
        .select_related("matter")
        .order_by("message", "place")
    )
    listed = defaultdict[int | None, list[Notice]](list)
    for notice in rows:
        listed[notice.message_id].append(notice)
    pairs = ((n.matter_id, n.person_id) for all_ in listed.values() for n in all_)
    heard = still_heard(pairs)
    found = {}
    for message, all_ in listed.items():
        left = [n.matter for n in all_ if (n.matter_id, n.person_id) in heard]
        if message and left:
            of = int(vars(all_[0])["of"])
            found[message] = Told(left, of - len(all_) if len(left) == len(all_) else 0)
    return found


def letter(message: Message, told: Told, asked: Collection[str]) -> EmailMultiAlternatives:
    """The mail: plain and as HTML, marked as sent by a program (RFC 3834).

    Where any of it can be switched off it can be so by one click (RFC 8058); `asked` are the kinds
    that can't.
    """
    optional = sorted({matter.kind for matter in told.matters} - set(asked))
    stop = absolute(reverse("people:notices_stop", args=[stop_token(message.person_id, optional)]))
    context = {
        "person": message.person,
        "items": [_item(matter) for matter in told.matters],
        "more": told.more,
        "house": absolute("/notices/"),
        "stop": stop if optional else "",
    }
    mail = EmailMultiAlternatives(
        subject=(PREFIX + told.title)[:SUBJECT],
        body=render_to_string("people/notices/mail/message.txt", context),
        to=[message.person.email],
        headers=_headers(message, stop if optional else ""),
    )
    mail.attach_alternative(
        render_to_string("people/notices/mail/message.html", context), "text/html"
    )
    return mail


def _headers(message: Message, stop: str) -> dict[str, str]:
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"
    headers = {
        "Message-ID": f"<{message.name}.portaledger@{domain}>",
        "Auto-Submitted": "auto-generated",
        "X-Auto-Response-Suppress": "All",
    }
    if stop:
        headers["List-Unsubscribe"] = f"<{stop}>"
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    return headers


def _item(matter: Matter) -> dict[str, str]:
    kind = kinds().get(matter.kind)
    return {
        "kind": kind.label if kind else "",
        "title": matter.title,
        "words": matter.words,
        "url": absolute(matter.url),
    }


def absolute(path: str) -> str:
    """An address as it can be followed from outside."""
    return settings.PUBLIC_URL.rstrip("/") + path
