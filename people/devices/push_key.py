"""The key that says a push is ours (VAPID, RFC 8292): P-256, in a file, beside the ledger's key.

Only workers have it. The database has the public half, for the pages: whoever writes another one
there gets subscriptions that nobody can use.
"""

import base64
from contextlib import suppress
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)
from django.conf import settings
from django.db.models.functions import Now

from audit.ledger.files import write_whole
from people.devices.models import Device, PushKey


class PushKeyError(Exception):
    """The file is there and holds no such key; the message says which."""


def signing_key() -> ec.EllipticCurvePrivateKey:
    """The key, made at first use by whoever sends. Raises PushKeyError, OSError."""
    file = Path(settings.PUSH_KEY_FILE)
    if not file.exists():
        made = ec.generate_private_key(ec.SECP256R1())
        pem = made.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        file.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileExistsError):  # another worker was first: its key is the one
            write_whole(file, [pem], anew=True)
    try:
        key = load_pem_private_key(file.read_bytes(), password=None)
    except ValueError as error:
        raise PushKeyError(f"{file} can't be read as a key: {error}") from error
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.curve.name != "secp256r1":
        raise PushKeyError(f"{file} holds no P-256 key.")
    return key


def public_of(key: ec.EllipticCurvePrivateKey) -> str:
    """Its public half as browsers take it: the uncompressed point in base64url."""
    point = key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    return base64.urlsafe_b64encode(point).rstrip(b"=").decode()


def publish() -> ec.EllipticCurvePrivateKey:
    """The key, with its public half where the pages read it.

    Devices that subscribed for another key can't be told any more: they are forgotten, and asked
    to subscribe anew.
    """
    key = signing_key()
    public = public_of(key)
    if not PushKey.objects.filter(pk=1, public=public).exists():
        PushKey.objects.update_or_create(pk=1, defaults={"public": public, "at": Now()})
        Device.objects.exclude(made_for=public).delete()
    return key


def public_key() -> str:
    """What the pages give to browsers; empty until a worker has made the key."""
    return PushKey.objects.filter(pk=1).values_list("public", flat=True).first() or ""
