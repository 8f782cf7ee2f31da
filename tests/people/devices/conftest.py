"""A push service on loopback over TLS, and browsers that subscribed there and can decrypt."""

import base64
import json
import os
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import http_ece
import pytest
import requests
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
)
from cryptography.x509.oid import NameOID
from pytest_django.fixtures import Settings

from people.devices import services
from people.devices.models import Device
from people.devices.push_key import public_key, publish
from people.persons.models import User

HOST = "push.example.com"


def text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


@dataclass
class Browser:
    """The keys of one subscription, as a browser keeps them."""

    key: ec.EllipticCurvePrivateKey
    auth: bytes
    endpoint: str

    @property
    def p256dh(self) -> str:
        point = self.key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        return text(point)

    def decrypt(self, body: bytes) -> dict[str, str]:
        clear = http_ece.decrypt(
            body, private_key=self.key, auth_secret=self.auth, version="aes128gcm"
        )
        found: dict[str, str] = json.loads(clear)
        return found


def browser(path: str) -> Browser:
    return Browser(ec.generate_private_key(ec.SECP256R1()), os.urandom(16), f"https://{HOST}{path}")


@dataclass
class PushService:
    """What came, by path, and what it answers instead of 201."""

    got: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)
    answers: dict[str, int] = field(default_factory=dict)
    location: str = ""


def _certificate(folder: Path) -> Path:
    key, name = ec.generate_private_key(ec.SECP256R1()), x509.Name(
        [x509.NameAttribute(NameOID.COMMON_NAME, HOST)]
    )  # fmt: skip
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(HOST)]), critical=False)
        .sign(key, SHA256())
    )
    file = folder / "service.pem"
    secret = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    file.write_bytes(secret + made.public_bytes(Encoding.PEM))
    return file


def _handler(service: PushService) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            service.got.append((self.path, dict(self.headers), body))
            self.send_response(service.answers.get(self.path, 201))
            if service.location:
                self.send_header("Location", service.location)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002
            """Silent."""

    return Handler


@pytest.fixture
def push_service(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> Iterator[PushService]:
    """The name leads to a server of ours here; only that is put in for the internet."""
    service, file = PushService(), _certificate(tmp_path)
    server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(service))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(file)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    real = socket.create_connection

    def here(address: tuple[str, int], timeout: float) -> socket.socket:
        return real(("127.0.0.1", int(server.server_address[1])), timeout)

    monkeypatch.setattr(services, "public_address", lambda host, port: "203.0.113.1")
    monkeypatch.setattr(socket, "create_connection", here)
    made = services.push_session

    def trusting() -> requests.Session:
        session = made()
        session.verify = str(file)
        return session

    monkeypatch.setattr("people.notices.devices_told.push_session", trusting)
    monkeypatch.setattr("people.devices.services.push_session", trusting)
    settings.PUSH_KEY_FILE = str(tmp_path / "keys" / "push_key")
    settings.PUBLIC_URL = "https://ledger.example.com"
    try:
        yield service
    finally:
        server.shutdown()
        server.server_close()


Subscribe = Callable[..., tuple[Device, Browser]]


@pytest.fixture
def subscribe(db: None, push_service: PushService) -> Subscribe:
    """A device of somebody's, and the browser behind it."""
    publish()

    def made(person: User, path: str = "/one") -> tuple[Device, Browser]:
        keys = browser(path)
        device = Device.objects.create(
            person=person, endpoint=keys.endpoint, p256dh=keys.p256dh, auth=text(keys.auth),
            made_for=public_key(), label="A browser", browser="0" * 64,
        )  # fmt: skip
        return device, keys

    return made
