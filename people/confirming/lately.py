"""Confirmed within five minutes, by signing in or by doing it again; a browser left alone is not.

allauth asks and notes it: the password, or the second factor of whoever has one.
"""

import time
from typing import Any

from allauth.account.adapter import get_adapter
from allauth.account.internal.flows.login import get_authentication_records, record_authentication
from django.conf import settings
from django.contrib.auth.signals import user_logged_in
from django.dispatch import receiver
from django.http import HttpRequest
from django.urls import reverse
from rest_framework.request import Request

SIGNED_IN = "sign_in"
# Set on a request that signs in by single sign-on with no word of when it was proven over there.
UNPROVEN = "single_sign_on_unproven"


@receiver(user_logged_in)
def note_sign_in(request: HttpRequest, user: Any, **_: object) -> None:  # noqa: ANN401
    """Sent when every step was taken, the second factor's too."""
    if not getattr(request, UNPROVEN, False):
        record_authentication(request, user, method=SIGNED_IN)


def confirmed_lately(request: HttpRequest | Request) -> bool:
    """Whether this session's person signed in or confirmed within the time that settings give."""
    noted = get_authentication_records(request, request.user)
    at = [
        each["at"] for each in noted if each["method"] == SIGNED_IN or each.get("reauthenticated")
    ]
    latest: float = max(at, default=0.0)
    return time.time() - latest < settings.ACCOUNT_REAUTHENTICATION_TIMEOUT


def where_to_confirm(request: HttpRequest | Request) -> str:
    """The address of the page that asks."""
    ways = get_adapter().get_reauthentication_methods(request.user)
    return str(ways[0]["url"]) if ways else reverse("account_login")
