"""One message over an open connection, and what the server made of it.

A permanent answer (5xx, RFC 5321 4.2.1) about the recipient condemns the address, one about the
message only the message. All else, no answer included, is tried again.
"""

import smtplib
from dataclasses import dataclass
from enum import Enum

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

PERMANENT = 500
WITHOUT = "django.core.mail.backends.dummy.EmailBackend"


class Taken(Enum):
    """What became of a message."""

    SENT = "sent"
    LATER = "later"
    REFUSED = "refused"
    NO_SUCH_ADDRESS = "no such address"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of it, and the server's words where it was not taken."""

    taken: Taken
    said: str = ""


def mail_hindrance() -> str:
    """Why no mail goes out from here, for people; empty where it does."""
    if settings.EMAIL_BACKEND == WITHOUT:
        return "No mail server is set up"
    if not settings.PUBLIC_URL:
        return "The address of this program, which mail has to name, is not set up"
    return ""


def send_over(connection: BaseEmailBackend, message: EmailMessage) -> Outcome:
    """Hand one message to the server; never raises for what the server or the line does.

    Nor for an address whose name is none of the DNS: Django would raise only while it sends.
    """
    try:
        for address in message.recipients():
            address.rpartition("@")[2].encode("idna")
    except UnicodeError as error:
        return Outcome(Taken.NO_SUCH_ADDRESS, str(error))
    try:
        connection.send_messages([message])
    except smtplib.SMTPRecipientsRefused as refused:
        code, said = next(iter(refused.recipients.values()))
        return _outcome(code, said, Taken.NO_SUCH_ADDRESS)
    except smtplib.SMTPDataError as refused:
        return _outcome(refused.smtp_code, refused.smtp_error, Taken.REFUSED)
    except OSError as error:  # every other error of smtplib, of us as sender, and the line's own
        if isinstance(error, smtplib.SMTPServerDisconnected):
            connection.close()  # the next message opens another
        return Outcome(Taken.LATER, str(error) or type(error).__name__)
    return Outcome(Taken.SENT)


def _outcome(code: int, said: bytes | str, permanent: Taken) -> Outcome:
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    taken = permanent if code >= PERMANENT else Taken.LATER
    return Outcome(taken, f"{code} {text}" if code else text)
