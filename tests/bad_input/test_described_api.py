"""The API keeps its own description, whatever is sent: generated calls, answers validated.

Source of the checks: OpenAPI 3.0.3 as schemathesis reads it.
"""

import uuid
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from people.persons.models import User
from people.tokens.actions import make_token
from people.tokens.models import Scope
from tests.bad_input.known import known
from tests.permissions.world import World
from tests.services import rounds

pytestmark = pytest.mark.django_db
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
SHARDS = 4
Operation = Any  # schemathesis does not export the type of its operations


Described = Any  # nor that of the whole


@pytest.fixture(scope="module")
def described() -> Iterator[Described]:
    """The description, wired to the program itself."""
    found = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    schema = schemathesis.openapi.from_dict(found)
    schema.app = get_wsgi_application()
    # As Django's own test client does: the world's transaction lives on the open connection.
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield schema
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture(scope="module")
def tokens(world: World) -> dict[str, str]:
    """A token for each of two people who together may do everything."""
    people = {"head roaster": world.bar.cast.head_roaster, "owner": world.bar.cast.owner}
    return {name: _token(person) for name, person in people.items()}


def _token(person: User) -> str:
    scopes = (Scope.READ, Scope.ACT, Scope.SIGN)
    return make_token(by=person, name="described", scopes=scopes, days=1)[1]


def operations(schema: Described, shard: int) -> Iterator[Operation]:
    """A share of the operations."""
    found = [result.ok() for result in schema.get_all_operations()]
    yield from sorted(found, key=lambda operation: operation.label)[shard::SHARDS]


@pytest.mark.parametrize("who", ["head roaster", "owner"])
@pytest.mark.parametrize("shard", range(SHARDS))
def test_answers_are_as_described(
    described: Described,
    world: World,
    tokens: dict[str, str],
    shard: int,
    who: str,
) -> None:
    found = [slip(each, world, tokens[who]) for each in operations(described, shard)]
    slips = list(filter(None, found))
    assert not slips, "\n".join(slips)


def slip(operation: Operation, world: World, token: str) -> str:
    """What is not as described about one operation, with the call that shows it; or nothing."""

    @settings(
        max_examples=rounds(200, 4),
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(), there=st.booleans())
    def call(case: Any, there: bool) -> None:  # noqa: ANN401
        if there:
            case.path_parameters = {**case.path_parameters, **known(world, case.path)}
        # Its client does not unpack.
        headers = {
            "Authorization": f"Bearer {token}", "Idempotency-Key": uuid.uuid4().hex,
            "Accept-Encoding": "identity",
        }  # fmt: skip
        with transaction.atomic():
            answer = case.call(headers=headers)
            transaction.set_rollback(True)
        case.validate_response(answer, checks=CHECKS)

    try:
        call()
    except FailureGroup as found:
        return f"{operation.label}: {found}"
    return ""
