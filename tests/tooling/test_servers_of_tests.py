"""The tests' own servers answer, and parallel workers do not share a broker number."""

import pytest
import redis
from django.conf import settings
from django.db import connection

from tests.services import broker_of


@pytest.mark.django_db
def test_database_is_the_supported_major_version() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version_num")
        (version,) = cursor.fetchone()
    assert int(version) // 10_000 == 18


def test_broker_answers_at_the_settings_address() -> None:
    assert redis.Redis.from_url(settings.REDIS_URL).ping()


def test_each_parallel_worker_has_its_own_broker_number() -> None:
    addresses = {broker_of(worker) for worker in ("", "gw0", "gw1")}
    assert len(addresses) == 3
