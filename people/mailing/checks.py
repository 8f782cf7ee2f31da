"""What a deployment that sends mail is checked for."""

from collections.abc import Sequence

from django.apps import AppConfig
from django.conf import settings
from django.core import checks
from django.core.checks import CheckMessage, Error, register

from people.mailing.sending import WITHOUT


@register(deploy=True)
def mail_names_where_we_are(
    app_configs: Sequence[AppConfig] | None, **_: object
) -> list[CheckMessage]:
    """With a mail server, mail has to name an https:// address of ours."""
    if settings.PUBLIC_URL and not settings.PUBLIC_URL.startswith("https://"):
        words = "PUBLIC_URL is not an https:// address."
        return [Error(words, hint="Give the name people type.", id="people.E001")]
    if settings.EMAIL_BACKEND != WITHOUT and not settings.PUBLIC_URL:
        words = "There is a mail server, but no PUBLIC_URL: people are sent no mail."
        return [
            checks.Warning(words, hint="Give https:// and the name people type.", id="people.W001")
        ]
    return []
