"""One message to one device: encrypted for it alone (RFC 8291), signed as ours (RFC 8292).

The push service carries it and can't read it. Still it holds no settings: title, words and address.
"""

import base64
import hashlib
import json
import time
from dataclasses import dataclass
from enum import Enum
from urllib.parse import urlsplit

import requests
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from django.conf import settings
from py_vapid import Vapid02
from pywebpush import WebPusher, WebPushException

from audit.errors import Invalid
from people.devices.models import Device
from people.devices.services import TIMEOUT, require_push_service

LASTS = 24 * 3600  # seconds that a push service keeps it for a device that is off
SIGNED_FOR = 12 * 3600  # seconds; RFC 8292 allows a day
WORDS = 500  # characters; the whole has to fit 4,096 bytes (RFC 8291, 4)
GONE = (404, 410)  # RFC 8030, 7.3


class Arrived(Enum):
    """What the push service made of it."""

    TAKEN = "taken"
    GONE = "gone"
    LATER = "later"


@dataclass(frozen=True, slots=True)
class Push:
    """What a device shows; `url` is a path of ours."""

    title: str
    words: str
    url: str

    def payload(self) -> bytes:
        """As the service worker reads it."""
        told = {"title": self.title[:WORDS], "words": self.words[:WORDS], "url": self.url}
        return json.dumps(told).encode()


def send_push(
    session: requests.Session, device: Device, push: Push, key: ec.EllipticCurvePrivateKey
) -> tuple[Arrived, str]:
    """Hand it to the device's push service; what it said. Never raises for what that does."""
    try:
        require_push_service(device.endpoint)
        body = _encrypted(device, push.payload())
        answer = session.post(
            device.endpoint,
            data=body,
            headers=_headers(device.endpoint, push, key),
            timeout=TIMEOUT,
            allow_redirects=False,
            stream=True,  # the body of the answer is not read
        )
        answer.close()
    except (Invalid, ValueError, WebPushException) as broken:
        return Arrived.GONE, str(broken)
    except (requests.RequestException, OSError) as error:
        return Arrived.LATER, str(error)
    if answer.ok and not answer.is_redirect:
        return Arrived.TAKEN, ""
    if answer.status_code in GONE:
        return Arrived.GONE, f"It answered {answer.status_code}"
    return Arrived.LATER, f"It answered {answer.status_code}"


def _encrypted(device: Device, payload: bytes) -> bytes:
    keys = {"p256dh": device.p256dh, "auth": device.auth}
    pusher = WebPusher({"endpoint": device.endpoint, "keys": keys})
    body: bytes = pusher.encode(payload, content_encoding="aes128gcm")["body"]
    return body


def _headers(endpoint: str, push: Push, key: ec.EllipticCurvePrivateKey) -> dict[str, str]:
    parts = urlsplit(endpoint)
    claims = {
        "sub": settings.PUBLIC_URL or f"mailto:{settings.DEFAULT_FROM_EMAIL}",
        "aud": f"{parts.scheme}://{parts.netloc}",
        "exp": int(time.time()) + SIGNED_FOR,
    }
    signer = Vapid02.from_pem(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    signed: dict[str, str] = signer.sign(claims)
    # Of two about one place the service keeps the newer for a device that is off (RFC 8030, 5.4).
    topic = base64.urlsafe_b64encode(hashlib.sha256(push.url.encode()).digest())[:32].decode()
    return {
        **signed,
        "Content-Encoding": "aes128gcm",
        "Content-Type": "application/octet-stream",
        "TTL": str(LASTS),
        "Urgency": "normal",
        "Topic": topic,
    }
