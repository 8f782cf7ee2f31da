"""What only the database could see, answered as a refusal instead of a crash."""

import pytest
from django.db import DatabaseError, connection, transaction

from audit.errors import Refused
from people.persons.models import Assignment, User
from tests.cast import Cast
from web.errors import as_domain_error


def _run(statement: str) -> Exception:
    with (
        pytest.raises(DatabaseError) as told,
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)
    return told.value


def test_twice_the_same_at_once(cast: Cast) -> None:
    told = _run(
        "INSERT INTO people_user (password, email, name, is_active, revision) "
        "VALUES ('', 'owner@example.com', 'x', true, 1)"
    )
    assert isinstance(as_domain_error(told), Refused)


def test_a_guard_of_ours_speaks_for_itself(cast: Cast) -> None:
    told = as_domain_error(_run("SET CONSTRAINTS ALL IMMEDIATE; TRUNCATE people_user CASCADE"))
    assert isinstance(told, Refused)
    assert "governed" in told.message


def test_our_own_codes_bring_their_hint_along(db: None) -> None:
    told = as_domain_error(
        _run(
            "DO $$ BEGIN RAISE EXCEPTION USING ERRCODE = 'PL001', MESSAGE = 'Locked.', "
            "HINT = 'Ask a head roaster.'; END $$"
        )
    )
    assert isinstance(told, Refused)
    assert (told.message, told.how_to_ask) == ("Locked.", "Ask a head roaster.")


def test_what_is_referred_to_cannot_go(cast: Cast) -> None:
    pk = Assignment.objects.filter(user=cast.barista).values_list("site_id", flat=True).get()
    told = _run(f"SET CONSTRAINTS ALL IMMEDIATE; DELETE FROM stations_site WHERE id = {pk}")
    assert isinstance(as_domain_error(told), Refused)


def test_a_fault_of_the_program_stays_one(cast: Cast) -> None:
    assert as_domain_error(_run("SELECT 1/0")) is None
    assert as_domain_error(_run("UPDATE people_user SET email = 'UPPER@example.com'")) is None
    assert as_domain_error(ValueError("x")) is None
    assert User.objects.count() == 7
