"""With the broker away the quick cache is empty, and nobody waits or fails for it."""

from typing import cast

import pytest
from pytest_django.fixtures import Settings
from redis import Redis

from audit.quick import quick
from web.quick_cache import QuickCache


@pytest.fixture
def away(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """A broker that nobody answers for."""
    monkeypatch.setattr(QuickCache, "_asked_again_at", 0.0)
    elsewhere = {**settings.CACHES["quick"], "LOCATION": "redis://127.0.0.1:1/0"}
    settings.CACHES = {**settings.CACHES, "quick": elsewhere}


def test_it_keeps_what_it_is_given() -> None:
    quick.set("figure", {"a": 1}, 60)
    assert quick.get("figure") == {"a": 1}
    assert not quick.add("figure", 2, 60)
    assert quick.get_many(["figure", "none"]) == {"figure": {"a": 1}}
    assert quick.delete("figure")


def test_it_counts_many_within_their_time(settings: Settings) -> None:
    assert quick.count(["one", "two"], 60) == [1, 1]
    assert quick.count(["two"], 500) == [2]
    with Redis.from_url(settings.REDIS_URL) as broker:
        lasts = cast(int, broker.ttl(quick.make_key("two")))
    assert 0 < lasts <= 60, "counting does not prolong it"


@pytest.mark.usefixtures("away")
def test_it_is_empty_while_the_broker_is_away(caplog: pytest.LogCaptureFixture) -> None:
    quick.set("figure", 1, 60)
    assert quick.get("figure", "nothing") == "nothing"
    assert quick.get_many(["figure"]) == {}
    assert quick.get_or_set("figure", lambda: 5, 60) == 5
    assert quick.add("first", 1, 60)
    assert not quick.delete("figure")
    with pytest.raises(ValueError, match="figure"):
        quick.incr("figure")
    assert quick.count(["one", "two"], 60) == [0, 0]
    assert len(caplog.messages) == 1, "said once, and not asked again for a while"
