"""Pushes through a push service that answers: decrypted by the browser, verified as ours."""

import base64
import json
import stat
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from django.conf import settings as project
from django.utils import timezone

from people.devices.models import Device, PushKey
from people.devices.push_key import public_key, publish, signing_key
from people.devices.pushing import Arrived, Push, send_push
from people.devices.services import push_session
from people.notices.devices_told import push_waiting
from people.notices.finding import find_matters
from people.notices.kinds import Found, How
from people.notices.models import Choice, Message
from people.notices.posting import post
from people.notices.telling import tell
from tests.cast import Cast
from tests.people.conftest import CODE, Matters
from tests.people.devices.conftest import PushService, Subscribe


def arise(cast: Cast, matters: Matters, *keys: str) -> None:
    """Matters for the shop lead, who wants them on devices."""
    Choice.objects.update_or_create(person=cast.shop_lead, kind=CODE, defaults={"how": How.PUSH})
    where = (cast.site.pk,)
    matters.is_now(
        *(Found(k, f"Slot {k} differs", f"/slots/{k}/", "Look", where, to=cast.shop_lead.pk)
          for k in keys)
    )  # fmt: skip
    find_matters()
    tell()


def decoded(part: str) -> bytes:
    return base64.urlsafe_b64decode(part + "=" * (-len(part) % 4))


def test_the_device_reads_title_words_and_address_and_nothing_else(
    cast: Cast,
    matters: Matters,
    push_service: PushService,
    subscribe: Subscribe,
) -> None:
    device, browser = subscribe(cast.shop_lead)
    arise(cast, matters, "1")
    assert push_waiting() == 1
    ((path, headers, body),) = push_service.got
    assert path == "/one"
    assert b"Slot 1" not in body
    assert browser.decrypt(body) == {"title": "Slot 1 differs", "words": "Look", "url": "/slots/1/"}
    assert headers["Content-Encoding"] == "aes128gcm"
    assert headers["TTL"] == "86400"
    device.refresh_from_db()
    assert device.told_at is not None
    assert Message.objects.get().state == "sent"
    assert push_waiting() == 0


def test_it_is_signed_as_ours_for_that_service(
    cast: Cast,
    matters: Matters,
    push_service: PushService,
    subscribe: Subscribe,
) -> None:
    subscribe(cast.shop_lead)
    arise(cast, matters, "1")
    push_waiting()
    given = push_service.got[0][1]["Authorization"]
    assert given.startswith("vapid t=")
    fields = dict(part.strip().split("=", 1) for part in given.removeprefix("vapid ").split(","))
    assert fields["k"].rstrip("=") == public_key()
    head, claims, signature = fields["t"].split(".")
    said = json.loads(decoded(claims))
    assert said["aud"] == "https://push.example.com"
    assert said["sub"] == "https://ledger.example.com"
    assert timezone.now().timestamp() < said["exp"] <= timezone.now().timestamp() + 86_400
    raw = decoded(signature)
    der = encode_dss_signature(int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
    point = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), decoded(fields["k"]))
    point.verify(der, f"{head}.{claims}".encode(), ec.ECDSA(SHA256()))


def test_a_device_whose_service_says_it_is_gone_is_forgotten_and_a_mail_goes_instead(
    cast: Cast, matters: Matters, push_service: PushService, subscribe: Subscribe,
    mailoutbox: list[object],
) -> None:  # fmt: skip
    subscribe(cast.shop_lead)
    push_service.answers["/one"] = 410
    arise(cast, matters, "1")
    assert push_waiting() == 0
    assert not Device.objects.exists()
    assert post() == 1
    assert len(mailoutbox) == 1
    assert Message.objects.get().way == "mail"


def test_of_several_devices_one_that_takes_it_is_enough(
    cast: Cast,
    matters: Matters,
    push_service: PushService,
    subscribe: Subscribe,
) -> None:
    subscribe(cast.shop_lead, "/gone")
    subscribe(cast.shop_lead, "/busy")
    subscribe(cast.shop_lead, "/fine")
    push_service.answers.update({"/gone": 404, "/busy": 503})
    arise(cast, matters, "1")
    assert push_waiting() == 1
    assert Device.objects.count() == 2
    assert Message.objects.get().state == "sent"


def test_a_busy_service_is_asked_again_later(
    cast: Cast,
    matters: Matters,
    push_service: PushService,
    subscribe: Subscribe,
) -> None:
    subscribe(cast.shop_lead)
    push_service.answers["/one"] = 429
    arise(cast, matters, "1")
    assert push_waiting() == 0
    waiting = Message.objects.get()
    assert (waiting.state, waiting.way) == ("waiting", "push")
    push_service.answers.clear()
    Message.objects.update(next_at=timezone.now() - timedelta(seconds=1))
    assert push_waiting() == 1


def test_it_follows_no_redirect(
    cast: Cast, push_service: PushService, subscribe: Subscribe
) -> None:
    device, _ = subscribe(cast.shop_lead)
    push_service.answers["/one"], push_service.location = 307, "https://push.example.com/inside"
    with push_session() as session:
        session.verify = _verify()
        arrived, _said = send_push(session, device, Push("a", "b", "/"), signing_key())
    assert arrived is Arrived.LATER
    assert [path for path, _, _ in push_service.got] == ["/one"]


def _verify() -> str:
    return str(Path(project.PUSH_KEY_FILE).parent.parent / "service.pem")


def test_what_sql_wrote_as_a_device_leads_nowhere_inside(
    cast: Cast, push_service: PushService, subscribe: Subscribe
) -> None:
    device, _ = subscribe(cast.shop_lead)
    device.endpoint = "https://10.0.0.1/x"
    with push_session() as session:
        arrived, _said = send_push(session, device, Push("a", "b", "/"), signing_key())
    assert arrived is Arrived.GONE
    assert push_service.got == []


def test_the_key_is_made_once_and_only_its_public_half_is_in_the_database(
    cast: Cast, push_service: PushService
) -> None:
    publish()
    file = Path(project.PUSH_KEY_FILE)
    first = file.read_bytes()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    publish()
    assert file.read_bytes() == first
    assert len(decoded(PushKey.objects.get().public)) == 65


def test_devices_of_a_key_that_was_replaced_are_forgotten(
    cast: Cast, push_service: PushService, subscribe: Subscribe
) -> None:
    subscribe(cast.shop_lead)
    Path(project.PUSH_KEY_FILE).unlink()
    publish()
    assert not Device.objects.exists()


def test_without_devices_it_is_a_mail(
    cast: Cast,
    matters: Matters,
    push_service: PushService,
    mailoutbox: list[object],
) -> None:
    arise(cast, matters, "1")
    push_waiting()
    assert post() == 1
    assert len(mailoutbox) == 1


@pytest.mark.parametrize("status", [400, 413, 500])
def test_a_device_that_never_takes_anything_is_forgotten_in_the_end(
    cast: Cast, push_service: PushService, subscribe: Subscribe,
    matters: Matters, status: int,
) -> None:  # fmt: skip
    device, _ = subscribe(cast.shop_lead)
    Device.objects.filter(pk=device.pk).update(failures=9)
    push_service.answers["/one"] = status
    arise(cast, matters, "1")
    push_waiting()
    assert not Device.objects.exists()
