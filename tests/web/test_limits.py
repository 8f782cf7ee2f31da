"""Whoever asks too much in a minute is told when to come back; everybody else goes on."""

from collections.abc import Callable

import pytest
from django.test import Client
from pytest_django.fixtures import Settings
from redis.connection import Connection

from tests.cast import ApiAs, Cast, SignedIn
from tests.web.test_problems import problem
from web.quick_cache import QuickCache


@pytest.fixture(autouse=True)
def _few(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.REQUESTS_OF_A_CLIENT, settings.REQUESTS_OF_A_SIGN_IN = 6, 3
    monkeypatch.setattr("web.limits.time.time", lambda: 1_800_000_000.0)  # 20 s into a minute


def asked(ask: Callable[[], int], times: int) -> list[int]:
    return [ask() for _ in range(times)]


def test_one_sign_in_past_its_bound_is_told_when_to_come_back(
    cast: Cast, signed_in: SignedIn
) -> None:
    browser, other = signed_in(cast.owner), signed_in(cast.barista)
    assert asked(lambda: browser.get("/").status_code, 4) == [200, 200, 200, 429]
    answer = browser.post("/account/login/", {"login": "typed before", "password": "secret"})
    assert answer.status_code == 429
    assert 0 < int(answer["Retry-After"]) <= 60
    page = answer.content.decode()
    assert answer["X-Request-ID"] in page
    assert 'value="typed before"' in page
    assert "secret" not in page.replace("password", "")
    assert other.get("/").status_code == 200


@pytest.mark.django_db
def test_one_client_past_its_bound_whoever_it_says_it_is() -> None:
    def ask() -> int:
        return Client(REMOTE_ADDR="203.0.113.9").get("/account/login/").status_code

    assert asked(ask, 7) == [200] * 6 + [429]
    assert Client(REMOTE_ADDR="198.51.100.7").get("/account/login/").status_code == 200
    assert Client(REMOTE_ADDR="203.0.113.9").get("/readyz").status_code == 200


def test_counting_asks_the_broker_once(
    cast: Cast, signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser = signed_in(cast.owner)
    browser.get("/waiting/")  # that it was seen is noted once in a while
    sent: list[object] = []
    send = Connection.send_packed_command

    def counted(link: Connection, command: object, **more: bool) -> None:
        sent.append(command)
        send(link, command, **more)  # type: ignore[no-untyped-call]

    monkeypatch.setattr(Connection, "send_packed_command", counted)
    assert browser.get("/waiting/").status_code == 200
    assert sum("asked:" in repr(each) for each in sent) == 1


def test_an_endpoint_answers_the_problem(cast: Cast, api_as: ApiAs) -> None:
    api = api_as(cast.owner)
    assert asked(lambda: api.get("/api/v1/sites/").status_code, 3) == [200] * 3
    answer = api.get("/api/v1/sites/")
    assert problem(answer, 429)["type"].endswith("#too-many")
    assert answer.has_header("Retry-After")


@pytest.mark.django_db
def test_without_a_broker_nobody_is_shut_out(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(QuickCache, "_asked_again_at", 0.0)
    elsewhere = {**settings.CACHES["quick"], "LOCATION": "redis://127.0.0.1:1/0"}
    settings.CACHES = {**settings.CACHES, "quick": elsewhere}
    assert asked(lambda: Client().get("/account/login/").status_code, 9) == [200] * 9
