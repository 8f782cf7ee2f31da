"""The count of wrong passwords ends, or is forgotten, while another try is being counted."""

import pytest
from django.core.cache import cache
from django.core.cache.backends.redis import RedisCache

from people.signatures.signing import LIMIT, WINDOW, count_attempt, forget_attempts
from tests.cast import Cast


def _seconds_left(key: str) -> int:
    return int(cache._cache.get_client().ttl(cache.make_key(key)))  # type: ignore[attr-defined]


def test_forgotten_between_looking_and_counting(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    count, key = RedisCache.incr, f"signing-attempts:{cast.owner.pk}"

    def forgotten_first(there: RedisCache, name: str) -> int:
        monkeypatch.setattr(RedisCache, "incr", count)
        forget_attempts(cast.owner)
        return count(there, name)

    count_attempt(cast.owner)
    monkeypatch.setattr(RedisCache, "incr", forgotten_first)
    count_attempt(cast.owner)
    assert cache.get(key) == 1
    assert 0 < _seconds_left(key) <= WINDOW


def test_made_anew_by_the_counting_itself_it_still_ends(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Redis counts up what is not there from nothing, and without an end."""
    key = f"signing-attempts:{cast.owner.pk}"

    def made_anew(_: RedisCache, name: str) -> int:
        forget_attempts(cast.owner)
        return int(cache._cache.get_client().incr(cache.make_key(name)))  # type: ignore[attr-defined]

    count_attempt(cast.owner)
    monkeypatch.setattr(RedisCache, "incr", made_anew)
    count_attempt(cast.owner)
    assert 0 < _seconds_left(key) <= WINDOW


def test_it_ends_so_long_after_the_first(cast: Cast) -> None:
    count_attempt(cast.owner)
    key = f"signing-attempts:{cast.owner.pk}"
    cache.touch(key, 60)
    for _ in range(LIMIT - 1):
        count_attempt(cast.owner)
    assert _seconds_left(key) <= 60
