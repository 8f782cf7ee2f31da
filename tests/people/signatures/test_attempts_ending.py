"""The count of wrong passwords ends, or is forgotten, while another try is being counted."""

from datetime import timedelta

import pytest
from django.core.cache import cache
from django.utils import timezone

from people.signatures.signing import LIMIT, WINDOW, count_attempt, forget_attempts
from tests.cast import Cast
from web.lasting_cache import LastingCache
from web.models import CacheEntry


def _left(key: str) -> timedelta:
    return CacheEntry.objects.get(key=cache.make_key(key)).expires_at - timezone.now()


def test_forgotten_between_looking_and_counting(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    count, key = LastingCache.incr, f"signing-attempts:{cast.owner.pk}"

    def forgotten_first(there: LastingCache, name: str) -> int:
        monkeypatch.setattr(LastingCache, "incr", count)
        forget_attempts(cast.owner)
        return count(there, name)

    count_attempt(cast.owner)
    monkeypatch.setattr(LastingCache, "incr", forgotten_first)
    count_attempt(cast.owner)
    assert cache.get(key) == 1
    assert timedelta() < _left(key) <= timedelta(seconds=WINDOW)


def test_what_is_not_there_is_not_made_by_counting(cast: Cast) -> None:
    """So none stands there without an end."""
    key = f"signing-attempts:{cast.owner.pk}"
    with pytest.raises(ValueError, match="not found"):
        cache.incr(key)
    assert cache.get(key) is None


def test_it_ends_so_long_after_the_first(cast: Cast) -> None:
    count_attempt(cast.owner)
    key = f"signing-attempts:{cast.owner.pk}"
    cache.touch(key, 60)
    for _ in range(LIMIT - 1):
        count_attempt(cast.owner)
    assert _left(key) <= timedelta(seconds=60)
