"""The cache in the broker, which is empty while that is away: no page waits or fails for it."""

import logging
import time
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from django.core.cache.backends.redis import RedisCache
from redis.exceptions import RedisError

logger = logging.getLogger(__name__)
T = TypeVar("T")
AGAIN = 5.0  # seconds after which one that did not answer is asked again


class QuickCache(RedisCache):
    """Redis's, by one connection pool a process. Lost is what was in it, and nothing is said."""

    _asked_again_at = 0.0  # of all threads: one finds out, the others go by that

    def get(self, key: str, default: object = None, version: int | None = None) -> Any:  # noqa: ANN401
        """The value, or the default."""
        return self._or(default, lambda: super(QuickCache, self).get(key, default, version))

    def get_many(self, keys: Any, version: int | None = None) -> dict[str, Any]:  # noqa: ANN401
        """Those that are there."""
        nothing: dict[str, Any] = {}
        return self._or(nothing, lambda: super(QuickCache, self).get_many(keys, version))

    def set(self, key: str, value: object, *more: Any, **named: Any) -> None:  # noqa: ANN401
        """Keep it, if possible."""
        self._or(None, lambda: super(QuickCache, self).set(key, value, *more, **named))

    def add(self, key: str, value: object, *more: Any, **named: Any) -> bool:  # noqa: ANN401
        """Whether it was not there, as nothing is while the broker is away."""
        return bool(self._or(True, lambda: super(QuickCache, self).add(key, value, *more, **named)))

    def delete(self, key: str, version: int | None = None) -> bool:
        """Whether it was there."""
        return bool(self._or(False, lambda: super(QuickCache, self).delete(key, version)))

    def incr(self, key: str, delta: int = 1, version: int | None = None) -> int:
        """Raises ValueError for what is not there, as Django's do."""
        count = self._or(None, lambda: super(QuickCache, self).incr(key, delta, version))
        if count is None:
            raise ValueError(f"Key '{key}' not found")
        return int(count)

    def count(self, keys: Sequence[str], seconds: int) -> list[int]:
        """Count each up by one, from none, until so long after its first; 0 while the broker is
        away. It is asked once for all of them."""

        def run() -> list[int]:
            asked = self._cache.get_client(write=True).pipeline()
            for key in map(self.make_and_validate_key, keys):
                asked.set(key, 0, ex=seconds, nx=True)
                asked.incr(key)
            return [int(count) for count in asked.execute()[1::2]]

        return self._or([0] * len(keys), run)

    def _or(self, otherwise: T, run: Callable[[], T]) -> T:
        if time.monotonic() < QuickCache._asked_again_at:
            return otherwise
        try:
            return run()
        except RedisError as error:
            QuickCache._asked_again_at = time.monotonic() + AGAIN
            logger.warning("The broker does not answer; for %.0f s no cache: %s", AGAIN, error)
            return otherwise
