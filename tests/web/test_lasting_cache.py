"""Tries are counted in the database, apart from the action that is refused."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.contrib.auth import SESSION_KEY
from django.core.cache import cache
from django.db import OperationalError, connection, transaction
from django.test import Client

from tests.cast import PASSWORD, Cast
from web.lasting_cache import LastingCache, forget_ended
from web.models import CacheEntry


@pytest.mark.django_db
def test_what_was_counted_stands_although_the_action_is_undone() -> None:
    with transaction.atomic():
        assert cache.add("tries", 1, 60)
        cache.incr("tries")
        transaction.set_rollback(True)
    assert cache.get("tries") == 2
    assert not cache.add("tries", 1, 60)


@pytest.mark.django_db(transaction=True)
def test_tries_at_once_are_all_counted() -> None:
    def one(_: int) -> int:
        try:
            return 1 if cache.add("tries", 1, 60) else cache.incr("tries")
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as threads:
        counted = sorted(threads.map(one, range(40)))
    assert counted == list(range(1, 41))


@pytest.mark.django_db
def test_past_its_end_it_is_not_there() -> None:
    cache.set("ended", [1.5, 2], -1)
    cache.set("lasts", [1.5, 2], 60)
    assert cache.get("ended") is None
    assert cache.get("lasts") == [1.5, 2]
    assert not cache.touch("ended", 60)
    with pytest.raises(ValueError, match="ended"):
        cache.incr("ended")
    assert not cache.delete("ended")
    cache.set("ended", 1, -1)
    assert cache.add("ended", 7, 60)
    assert cache.get("ended") == 7


@pytest.mark.django_db
def test_what_ended_is_deleted_at_night() -> None:
    cache.set("ended", 1, -1)
    cache.set("lasts", 1, None)
    assert forget_ended() >= 1
    kept = CacheEntry.objects.filter(key__in=map(cache.make_key, ("ended", "lasts")))
    assert [row.key for row in kept] == [cache.make_key("lasts")]


@pytest.mark.django_db
def test_where_tries_cannot_be_counted_nothing_is_tried(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(*_: object) -> None:
        raise OperationalError("the database does not answer")

    browser = Client(raise_request_exception=False)
    sent = {"login": cast.owner.email, "password": PASSWORD}
    with monkeypatch.context() as patch:
        patch.setattr(LastingCache, "_ask", away)
        assert browser.post("/account/login/", sent).status_code != 302
        assert SESSION_KEY not in browser.session
    assert browser.post("/account/login/", sent).status_code == 302
    assert SESSION_KEY in browser.session
