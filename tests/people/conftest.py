"""A kind of matter whose matters the test makes up, and a mail server that really answers."""

import socket
from collections.abc import Iterator
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from pytest_django.fixtures import Settings

from people.notices import kinds
from people.notices.kinds import Found, Kind, register_kind
from people.notices.models import Beginning
from people.persons.verbs import Verb

CODE = "slot_matter"
WHERE = "https://ledger.example.com"


@dataclass
class Matters:
    """What there is now; the tests change it."""

    found: list[Found] = field(default_factory=list)

    def is_now(self, *found: Found) -> None:
        """Only these."""
        self.found = list(found)


@pytest.fixture
def matters(monkeypatch: pytest.MonkeyPatch, db: None) -> Matters:
    """The only kind there is, looked for since long: whoever may read slots back hears of it."""
    made = Matters()
    monkeypatch.setattr(kinds, "_KINDS", {})
    register_kind(
        Kind(CODE, "Something at a slot", Verb.SLOT_READ_BACK, lambda: made.found, "people:list")
    )
    Beginning.objects.create(kind=CODE)
    return made


@pytest.fixture
def mailing(settings: Settings) -> None:
    """Mail goes out, into Django's own outbox."""
    settings.PUBLIC_URL = WHERE


@dataclass
class Server:
    """What a mail server got, and what it says instead where it shall not take something."""

    got: list[EmailMessage] = field(default_factory=list)
    tried: list[str] = field(default_factory=list)
    connections: int = 0
    answers: dict[str, str] = field(default_factory=dict)  # by recipient, to RCPT
    to_data: str = ""

    async def handle_EHLO(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, name: str, responses: list[str]
    ) -> list[str]:
        self.connections += 1
        session.host_name = name
        return responses

    async def handle_RCPT(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        self.tried.append(address)
        answer = self.answers.get(address, "250 OK")
        if answer.startswith("2"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope
    ) -> str:
        if self.to_data:
            return self.to_data
        content = envelope.content
        assert isinstance(content, bytes)
        self.got.append(message_from_bytes(content, policy=default))
        return "250 OK"


@pytest.fixture
def server(settings: Settings) -> Iterator[Server]:
    """A mail server on loopback, and Django told to use it."""
    handler = Server()
    with socket.socket() as probe:  # the controller asks itself at the port that it was given
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    controller = Controller(handler, hostname="127.0.0.1", port=port)
    controller.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST = "127.0.0.1"
    settings.EMAIL_PORT = port
    settings.PUBLIC_URL = WHERE
    try:
        yield handler
    finally:
        controller.stop()
