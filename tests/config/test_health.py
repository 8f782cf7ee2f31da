"""/healthz, the schedule, and what every response carries."""

from collections import Counter

import pytest
from celery import current_app
from django.test import Client
from pytest_django.fixtures import Settings

from config.schedule import BEAT_SCHEDULE, LONG
from tests.addresses import every_address
from tests.cast import Cast, SignedIn
from web.tasks import sign_of_life


@pytest.mark.django_db
def test_well_when_database_broker_and_workers_answer(client: Client) -> None:
    sign_of_life()
    answer = client.get("/healthz")
    assert (answer.status_code, answer.content) == (200, b"ok\n")


@pytest.mark.django_db
def test_workers_that_do_nothing_are_named_and_the_web_process_is_left_alone(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = client.get("/healthz")
    assert (answer.status_code, answer.content) == (503, b"no answer: workers (for 45 s)\n")
    for path in ("/livez", "/readyz"):
        answer = client.get(path)
        assert (answer.status_code, answer.content) == (200, b"ok\n")
    monkeypatch.setattr("web.tasks.BOUND", -1)
    sign_of_life()
    assert client.get("/healthz").status_code == 503, "one that is too old is none"


@pytest.mark.django_db
def test_the_broker_that_does_not_answer_is_named(client: Client, settings: Settings) -> None:
    sign_of_life()
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    answer = client.get("/healthz")
    assert answer.status_code == 503
    assert answer.content == b"no answer: broker\n"


def test_every_line_of_the_schedule_names_a_task_that_exists() -> None:
    current_app.loader.import_default_modules()
    named = {line["task"] for line in BEAT_SCHEDULE.values()} | LONG
    missing = named - set(current_app.tasks)
    assert missing == set()


@pytest.mark.django_db
def test_no_response_lets_a_page_run_inline_script_or_style(
    cast: Cast, signed_in: SignedIn
) -> None:
    """Whatever is asked for, by an owner and by nobody: found, refused or not there."""
    answers = Counter[int]()
    for browser in (signed_in(cast.owner), Client()):
        for url in [*(each.url for each in every_address()), "/nowhere/"]:
            answer = browser.get(url)
            policy = answer["Content-Security-Policy"]
            assert "default-src 'none'" in policy, url
            assert "unsafe" not in policy, url
            answers[answer.status_code] += 1
    assert {200, 302, 401, 403, 404, 405} <= answers.keys()
