"""Counts wrong passwords at signing, for all processes together (the shared cache)."""

from django.core.cache import cache

from audit.errors import Refused
from audit.subject import Subject
from people.models import User

LIMIT = 5
WINDOW = 15 * 60  # seconds


def count_attempt(user: User, subject: Subject | None = None) -> None:
    """Count one try before its password is looked at, so that guesses at once cannot slip by.

    Raises Refused from the sixth try within 15 minutes of the first.
    """
    if _counted(_key(user)) > LIMIT:
        raise Refused(
            f"Signing is closed for {WINDOW // 60} minutes after {LIMIT} wrong passwords.",
            how_to_ask="Wait, then sign again; if you forgot your password, set a new one.",
            subject=subject,
        )


def forget_attempts(user: User) -> None:
    """The password was right: start counting anew."""
    cache.delete(_key(user))


def _counted(key: str) -> int:
    """Which try this is. The count may end, or be forgotten by a right password, at any line."""
    while not cache.add(key, 1, WINDOW):
        try:
            tries = cache.incr(key)
        except ValueError:
            continue  # it ended just now
        if tries == 1:
            # It ended while being counted up, and was made anew without an end.
            cache.touch(key, WINDOW)
        return tries
    return 1


def _key(user: User) -> str:
    return f"signing-attempts:{user.pk}"
