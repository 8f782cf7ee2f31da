"""A device is added by its own browser, and taken away from anywhere."""

import base64
import binascii
import hashlib
import secrets

from django.contrib.auth.signals import user_logged_out
from django.db import transaction
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse

from audit.errors import Invalid, Refused
from people.devices.models import Device
from people.devices.push_key import public_key
from people.devices.services import require_push_service
from people.persons.models import User
from people.sign_in.models import SignIn
from people.sign_in.sessions import client_of, here_of, session_begun, tablet_of

COOKIE = "device"
YEAR = 365 * 24 * 3600  # seconds
MOST = 20  # devices of one person


def add_device(
    *, by: User, request: HttpRequest, endpoint: str, p256dh: str, auth: str, made_for: str
) -> tuple[Device, str]:
    """Let this browser be told; the device and the number for its cookie.

    Raises Invalid (endpoint, p256dh, auth), and Refused for a key that is not ours (any more), for
    too many, and at a tablet that people share.
    """
    if tablet_of(request) is not None:
        raise Refused("A tablet that people share is not told what is one person's.")
    require_push_service(endpoint)
    _require_bytes("p256dh", p256dh, 65)
    _require_bytes("auth", auth, 16)
    if not made_for or made_for != public_key():
        raise Refused("This page is of before our key was replaced: open it anew.")
    number = request.COOKIES.get(COOKIE) or secrets.token_urlsafe(24)
    # A browser has one subscription: what it had of before takes nothing any more.
    before = Device.objects.filter(browser=_digest(number)).exclude(endpoint=endpoint)
    if Device.objects.of(by).exclude(endpoint=endpoint).exclude(pk__in=before).count() >= MOST:
        raise Refused(f"You have {MOST} devices already: take one away first.")
    kept = {
        "person": by,
        "p256dh": p256dh,
        "auth": auth,
        "made_for": made_for,
        "label": client_of(request),
        "browser": _digest(number),
        "sign_in": SignIn.objects.live().filter(pk=here_of(request)).first(),
        "failures": 0,
    }
    with transaction.atomic():
        before.delete()
        return Device.objects.update_or_create(endpoint=endpoint, defaults=kept)[0], number


def keep_number(response: HttpResponse, number: str, *, secure: bool) -> None:
    """In a cookie that no script reads."""
    response.set_cookie(
        COOKIE, number, max_age=YEAR, httponly=True, secure=secure, samesite="Lax", path="/"
    )


def _require_bytes(field: str, text: str, count: int) -> None:
    try:
        given = base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except (binascii.Error, ValueError):
        given = b""
    if len(given) != count or len(text) > 2 * count:
        raise Invalid(field, text, f"{count} bytes in base64url, as the browser gives them")


def _digest(number: str) -> str:
    return hashlib.sha256(number.encode()).hexdigest()


def forget_left() -> int:
    """Devices whose session was ended or whose person may not sign in; how many."""
    return Device.objects.left().delete()[0]


@receiver(user_logged_out, dispatch_uid="people.devices.signed_out")
def signed_out(request: HttpRequest, **_: object) -> None:
    """Whoever signs out of a device is not told on it."""
    if number := request.COOKIES.get(COOKIE):
        Device.objects.filter(browser=_digest(number)).delete()


@receiver(session_begun, dispatch_uid="people.devices.signed_in")
def signed_in(request: HttpRequest, begun: SignIn, **_: object) -> None:
    """What is told on a device is for whoever is signed in there; it goes on with their session."""
    if number := request.COOKIES.get(COOKIE):
        here = Device.objects.filter(browser=_digest(number))
        here.exclude(person_id=begun.user_id).delete()
        here.update(sign_in=begun)
