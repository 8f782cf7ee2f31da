"""Mail that waits, over one connection: what is taken is noted at once, the rest is tried again.

Claimed in a transaction of its own, sent outside any: a worker that dies leaves what it claimed to
be claimed again. Between the server's word and our note of it a mail can so go out twice; then it
has the same Message-ID.
"""

import logging
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import timedelta

from django.core.mail import EmailMessage, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction
from django.db.models import Count, F, Min
from django.db.models.functions import Now
from django.urls import reverse
from django.utils import timezone

from audit.alarms import Alarm, register_alarm
from people.mailing.refusals import forget_refusal, in_short, note_refusal
from people.mailing.sending import Outcome, Taken, mail_hindrance, send_over
from people.notices.models import Message, MessageState, Notice, NoticeRule, Way
from people.notices.wording import letter, told_by

logger = logging.getLogger(__name__)
BATCH = 100  # mails claimed together
BATCHES = 50  # in one run of the task
CLAIMED = timedelta(minutes=10)
LONGEST = timedelta(hours=6)  # between two tries
WAITS_TOO_LONG = timedelta(minutes=30)
NOTHING_LEFT = "Nothing of it was left to tell"


def post() -> int:
    """Send the mail that waits and is due; how many the server took. Repeating does no harm."""
    if mail_hindrance():
        return 0
    sent = 0
    for _ in range(BATCHES):
        claimed = claim(Way.MAIL, BATCH)
        if not claimed:
            break
        done, open_ = _post(claimed)
        sent += done
        if not open_:
            break
    return sent


def claim(way: Way, at_most: int) -> list[Message]:
    """Take messages that are due, so that no other worker does; one try more for each."""
    due = Message.objects.waiting().filter(way=way, next_at__lte=Now())
    with transaction.atomic():
        rows = due.order_by("next_at", "pk").select_for_update(skip_locked=True)[:at_most]
        taken = list(rows.values_list("pk", flat=True))
        Message.objects.filter(pk__in=taken).update(
            next_at=timezone.now() + CLAIMED, tries=F("tries") + 1
        )
    return list(Message.objects.filter(pk__in=taken).select_related("person").order_by("pk"))


def _post(claimed: Sequence[Message]) -> tuple[int, bool]:
    """How many were taken, and whether the server can be asked for more."""
    told = told_by(claimed)
    drop(message for message in claimed if message.pk not in told)
    waiting = [message for message in claimed if message.pk in told]
    connection = get_connection()
    try:
        connection.open()
    except OSError as error:
        for message in waiting:
            put_off(message, str(error))
        logger.warning("No mail server answers: %s", error)
        return 0, False
    asked = set(NoticeRule.objects.values_list("kind", flat=True))
    try:
        letters = [(message, letter(message, told[message.pk], asked)) for message in waiting]
        return sum(_sent(connection, message, mail) for message, mail in letters), True
    finally:
        with suppress(OSError):
            connection.close()


def _sent(connection: BaseEmailBackend, message: Message, mail: EmailMessage) -> bool:
    outcome = send_over(connection, mail)
    message.subject, message.address = str(mail.subject), message.person.email
    if outcome.taken is Taken.SENT:
        finish(message, MessageState.SENT)
        forget_refusal(message.person_id)
    elif outcome.taken is Taken.LATER:
        put_off(message, outcome.said)
    else:
        _refuse(message, outcome)
    return outcome.taken is Taken.SENT


def _refuse(message: Message, outcome: Outcome) -> None:
    """Of a refused address it is told again what lasts, once there is another address."""
    with transaction.atomic():
        finish(message, MessageState.REFUSED, outcome.said)
        if outcome.taken is Taken.NO_SUCH_ADDRESS:
            note_refusal(person_id=message.person_id, address=message.address, said=outcome.said)
            Notice.objects.filter(message=message).delete()


def finish(message: Message, state: MessageState, said: str = "") -> None:
    """Note what became of it in the end."""
    message.state, message.said, message.done_at = state, in_short(said), timezone.now()
    message.save(update_fields=["state", "said", "done_at", "subject", "address", "way"])


def put_off(message: Message, said: str) -> None:
    """Try it again later: after one minute, two, four, … at last every six hours."""
    later = min(timedelta(minutes=2 ** min(message.tries - 1, 10)), LONGEST)
    message.next_at, message.said = timezone.now() + later, in_short(said)
    message.save(update_fields=["next_at", "said", "subject", "address"])


def drop(messages: Iterable[Message]) -> None:
    """What it told of is over, or no longer theirs to hear."""
    for message in messages:
        finish(message, MessageState.DROPPED, NOTHING_LEFT)


@register_alarm
def mail_waits() -> Iterable[Alarm]:
    """The mail server takes nothing, in whose words."""
    late = Message.objects.waiting().filter(
        way=Way.MAIL, tries__gte=2, made_at__lt=timezone.now() - WAITS_TOO_LONG
    )
    found = late.aggregate(many=Count("pk"), since=Min("made_at"))
    if found["many"]:
        said = late.order_by("-pk").values_list("said", flat=True)[0]
        words = f"Mail that the server does not take: {found['many']}. It says: {said}"
        yield Alarm(words, reverse("people:notices"), "overdue", found["since"], "mail waits")
