"""/healthz, the schedule, and what every response carries."""

import pytest
from celery import current_app
from django.test import Client
from pytest_django.fixtures import Settings

from config.schedule import BEAT_SCHEDULE


@pytest.mark.django_db
def test_well_when_database_and_broker_answer(client: Client) -> None:
    answer = client.get("/healthz")
    assert (answer.status_code, answer.content) == (200, b"ok\n")


@pytest.mark.django_db
def test_the_broker_that_does_not_answer_is_named(client: Client, settings: Settings) -> None:
    elsewhere = {**settings.CACHES["default"], "LOCATION": "redis://127.0.0.1:1/0"}
    settings.CACHES = {"default": elsewhere}
    answer = client.get("/healthz")
    assert answer.status_code == 503
    assert answer.content == b"no answer: broker\n"


def test_every_line_of_the_schedule_names_a_task_that_exists() -> None:
    current_app.loader.import_default_modules()
    missing = {line["task"] for line in BEAT_SCHEDULE.values()} - set(current_app.tasks)
    assert missing == set()


@pytest.mark.django_db
def test_no_response_lets_a_page_run_inline_script_or_style(client: Client) -> None:
    policy = client.get("/account/login/")["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
