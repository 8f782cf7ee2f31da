"""An ordinary database role with the program's rights, and what it is to be signed in as that."""

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import psycopg
import pytest
from django.db import connection, connections
from psycopg import sql

from audit.privileges import grant

Connection = psycopg.Connection[Any]


@pytest.fixture
def role(transactional_db: None) -> Iterator[str]:
    """An ordinary role with the program's rights; gone afterwards."""
    name = f"program_{secrets.token_hex(4)}"
    with connection.cursor() as cursor:
        made = sql.SQL("CREATE ROLE {} LOGIN PASSWORD {}").format(
            sql.Identifier(name), sql.Literal(name)
        )
        cursor.execute(made)
    grant(name)
    yield name
    with connection.cursor() as cursor:
        cursor.execute(sql.SQL("DROP OWNED BY {0}; DROP ROLE {0}").format(sql.Identifier(name)))


@pytest.fixture
def program(role: str) -> Iterator[Connection]:
    """Signed in as that role."""
    told = connection.settings_dict
    place = {"host": told["HOST"], "port": told["PORT"], "dbname": told["NAME"]}
    given = {key: value for key, value in place.items() if value}
    with psycopg.connect(**given, user=role, password=role, autocommit=True) as made:
        yield made


@contextmanager
def signed_in(role: str) -> Iterator[None]:
    """The product itself on a connection of that role."""
    plain = connections["default"].settings_dict
    connection.close()
    connections["default"].settings_dict = {**plain, "USER": role, "PASSWORD": role}
    try:
        yield
    finally:
        connection.close()
        connections["default"].settings_dict = plain
