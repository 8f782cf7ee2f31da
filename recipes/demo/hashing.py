"""The demo's one password is stretched once, and not again for everybody and for each signature."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

from django.conf import settings
from django.contrib.auth.hashers import PBKDF2PasswordHasher, get_hasher, reset_hashers
from django.utils.crypto import get_random_string


class StretchedOnce(PBKDF2PasswordHasher):
    """Django's own, as strong, with one salt: whose password is printed, has nothing to hide."""

    def salt(self) -> str:
        """The one of this process."""
        return _salt()

    def encode(self, password: str, salt: str, iterations: int | None = None) -> str:
        """Worked out for the first who asks."""
        return _stretched(password, salt, iterations or self.iterations)


@cache
def _salt() -> str:
    return get_random_string(22)


@cache
def _stretched(password: str, salt: str, iterations: int) -> str:
    return PBKDF2PasswordHasher().encode(password, salt, iterations)


@contextmanager
def stretched_once() -> Iterator[None]:
    """While the demo is loaded; nothing else is where hashing is quick already, as in tests."""
    before = settings.PASSWORD_HASHERS
    if not isinstance(get_hasher(), PBKDF2PasswordHasher):
        yield
        return
    try:
        _set([f"{__name__}.{StretchedOnce.__name__}", *before[1:]])
        yield
    finally:
        _set(before)


def _set(hashers: list[str]) -> None:
    settings.PASSWORD_HASHERS = hashers
    reset_hashers(setting="PASSWORD_HASHERS")
