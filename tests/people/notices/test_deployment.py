"""A deployment with a mail server says where it is."""

import pytest
from pytest_django.fixtures import Settings

from people.mailing.checks import mail_names_where_we_are
from people.mailing.sending import WITHOUT

SMTP = "django.core.mail.backends.smtp.EmailBackend"


@pytest.mark.parametrize(
    ("backend", "url", "found"),
    [
        (SMTP, "https://ledger.example.com", []),
        (SMTP, "", ["people.W001"]),
        (WITHOUT, "", []),
        (SMTP, "http://ledger.example.com", ["people.E001"]),
    ],
)
def test_it_is_checked(backend: str, url: str, found: list[str], settings: Settings) -> None:
    settings.EMAIL_BACKEND, settings.PUBLIC_URL = backend, url
    assert [message.id for message in mail_names_where_we_are(None)] == found
