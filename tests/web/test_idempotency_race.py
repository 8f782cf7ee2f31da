"""The same acting request sent many times at once, over real connections."""

from collections import Counter
from functools import partial

import pytest
from django.db import OperationalError
from rest_framework.test import APIClient

from audit.capture.models import Entry
from people.persons.models import User
from tests.cast import Cast, InPerson
from tests.races import at_once
from tests.services import rounds
from web import idempotency
from web.models import IdempotencyKey

pytestmark = pytest.mark.django_db(transaction=True)
PEOPLE = "/api/v1/people/"


def _post(client: APIClient, number: int) -> tuple[int, bytes]:
    answer = client.post(
        PEOPLE,
        {"name": f"New {number}", "email": f"new{number}@example.com"},
        headers={"Idempotency-Key": f"add-person-{number}"},
    )
    return answer.status_code, answer.content


def test_one_is_carried_out_and_the_others_told(cast: Cast, api_in_person: InPerson) -> None:
    clients = [api_in_person(cast.owner) for _ in range(6)]
    for number in range(rounds(200, 8)):
        told = at_once([partial(_post, client, number) for client in clients])
        answers = [t for t in told if isinstance(t, tuple)]
        assert len(answers) == 6, told
        statuses = Counter(status for status, _ in answers)
        assert set(statuses) <= {201, 409}
        assert statuses[201] >= 1
        assert len({body for status, body in answers if status == 201}) == 1
        person = User.objects.get(email=f"new{number}@example.com")
        assert Entry.objects.filter(table_name="people_user", row_id=person.pk).count() == 1


def test_a_crash_before_the_commit_leaves_neither_change_nor_key(
    cast: Cast, api_in_person: InPerson, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = api_in_person(cast.owner)
    client.raise_request_exception = False

    def crash(*_: object) -> None:
        raise OperationalError("the server went away")

    with monkeypatch.context() as patch:
        patch.setattr(idempotency, "_keep", crash)
        assert _post(client, 1)[0] == 500
    assert not User.objects.filter(email="new1@example.com").exists()
    assert not IdempotencyKey.objects.exists()
    assert _post(client, 1)[0] == 201
