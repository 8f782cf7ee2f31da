"""Messages for devices that wait: each of its matters to each of the person's devices.

It is one message, so one device that takes it is enough; where none does for good, it becomes a
mail, and where there is none either, it is told again when there is a way.
"""

import requests
from cryptography.hazmat.primitives.asymmetric import ec
from django.db import transaction
from django.db.models import F
from django.db.models.functions import Now
from django.urls import reverse

from people.devices.models import Device
from people.devices.push_key import publish
from people.devices.pushing import Arrived, Push, send_push
from people.devices.services import push_session
from people.mailing.refusals import refusal_of
from people.mailing.sending import mail_hindrance
from people.notices.finding import one_line
from people.notices.models import Message, MessageState, Notice, Way
from people.notices.posting import claim, drop, finish, put_off
from people.notices.wording import Told, told_by

BATCH = 20  # messages claimed together
FAILURES = 10  # tries in a row that failed, until a device is forgotten
NO_DEVICE = "No device takes it"


def push_waiting() -> int:
    """Send what waits for devices and is due; how many messages arrived somewhere."""
    key, session, arrived = publish(), push_session(), 0
    with session:
        while claimed := claim(Way.PUSH, BATCH):
            told = told_by(claimed)
            drop(message for message in claimed if message.pk not in told)
            for message in claimed:
                if message.pk in told:
                    arrived += _pushed(session, key, message, told[message.pk])
    return arrived


def as_push(told: Told) -> Push:
    """What a device shows: the one matter, or how many there are and where they stand."""
    only = told.matters[0] if len(told.matters) == 1 and not told.more else None
    if only:
        return Push(one_line(only.title), only.words, only.url)
    return Push(told.title, "", reverse("people:notices"))


def _pushed(
    session: requests.Session, key: ec.EllipticCurvePrivateKey, message: Message, told: Told
) -> bool:
    push, later, said = as_push(told), False, ""
    taken: list[int] = []
    for device in Device.objects.of(message.person):
        arrived, words = send_push(session, device, push, key)
        said = words or said
        later |= _noted(device, arrived, taken)
    message.subject, message.address = push.title, ""
    if taken:
        finish(message, MessageState.SENT)
    elif later:
        put_off(message, said)
    else:
        _by_mail(message, said or NO_DEVICE)
    return bool(taken)


def _noted(device: Device, arrived: Arrived, taken: list[int]) -> bool:
    """Keep how it went with one device; whether it may take it later."""
    if arrived is Arrived.TAKEN:
        Device.objects.filter(pk=device.pk).update(told_at=Now(), failures=0)
        taken.append(device.pk)
    elif arrived is Arrived.GONE or device.failures + 1 >= FAILURES:
        Device.objects.filter(pk=device.pk).delete()
    else:
        Device.objects.filter(pk=device.pk).update(failures=F("failures") + 1)
        return True
    return False


def _by_mail(message: Message, said: str) -> None:
    if mail_hindrance() or refusal_of(message.person_id):
        with transaction.atomic():
            finish(message, MessageState.DROPPED, said)
            Notice.objects.filter(message=message).delete()
        return
    Message.objects.filter(pk=message.pk).update(way=Way.MAIL, next_at=Now(), said=said, tries=0)
