"""Which tablet asks: by the key in its cookie, which changes as it is used.

A key that was replaced is good until the new one was shown, since an answer may get lost on the
way, and for a minute more, since requests overtake each other. Shown after that it is a copy: it
opens nothing, and says that there is one.
"""

import logging
from datetime import timedelta

from django.conf import settings
from django.db.models.functions import Now
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from audit.quick import quick
from people.sign_in.sessions import refuse_sign_in
from people.tablets.actions import note_copy, subject_of
from people.tablets.models import Tablet, digest_of

logger = logging.getLogger(__name__)
COOKIE = "tablet"
NOTED = "tablet"  # on the request
COOKIE_LIVES = timedelta(days=400)  # what browsers allow at most; each new key begins it anew
KEY_LENGTH = 100  # characters worth looking up
RENEWED_AFTER = timedelta(hours=1)
OVERTAKING = timedelta(minutes=1)
SEEN_EVERY = timedelta(minutes=10)
COPIED = "A key of this tablet was used that had been replaced: there is a copy of its cookie."


def recognised(request: HttpRequest) -> Tablet | None:
    """The tablet that asks, as the middleware noted it."""
    found: Tablet | None = vars(request).get(NOTED)
    return found


def tablet_that_asks(request: HttpRequest) -> Tablet | None:
    """The enrolled tablet whose key came with the request."""
    key = request.COOKIES.get(COOKIE, "")
    if not key or len(key) > KEY_LENGTH:
        return None
    digest, known = digest_of(key), Tablet.objects.in_use().select_related("site")
    tablet = known.filter(digest=digest).first()
    if tablet:
        _note_shown(tablet)
        _note_seen(tablet)
        return tablet
    before = known.filter(former=digest).first()
    if before is None or _still_good(before):
        return before
    refuse_sign_in(request, COPIED, subject_of(before), site_id=before.site_id)
    note_copy(before)
    return None


def digest_shown(request: HttpRequest) -> str:
    """Of the key that came with the request."""
    return digest_of(request.COOKIES.get(COOKIE, ""))


def give_key(response: HttpResponse, key: str) -> None:
    """Put the key into the tablet's cookie: no script reads it, and it goes to nobody else."""
    response.set_cookie(
        COOKIE,
        key,
        max_age=COOKIE_LIVES,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def due_for_another(tablet: Tablet) -> bool:
    """Whether its key was in use for long enough."""
    return tablet.renewed_at is None or timezone.now() - tablet.renewed_at > RENEWED_AFTER


def _still_good(tablet: Tablet) -> bool:
    return tablet.shown_at is None or timezone.now() - tablet.shown_at < OVERTAKING


def _note_shown(tablet: Tablet) -> None:
    if tablet.shown_at is None:
        Tablet.objects.filter(pk=tablet.pk, shown_at=None).update(shown_at=Now())


def _note_seen(tablet: Tablet) -> None:
    if quick.add(f"tablet_seen:{tablet.pk}", 1, SEEN_EVERY.total_seconds()):
        Tablet.objects.filter(pk=tablet.pk).update(seen_at=Now())
