"""The program's database role: it can work, and can do nothing to what is kept.

A real role that signs in to the test database, not SET ROLE: that could be reset.
"""

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import override_settings
from psycopg import sql

from audit.capture.models import Entry
from audit.privileges import (
    READ_ONLY,
    kept_tables,
    program_cannot_alter_history,
    rights_beyond,
)
from config.settings.services import address
from people.persons.models import User
from tests.audit.roles import Connection, program, role, signed_in

__all__ = ["program", "role"]

pytestmark = pytest.mark.django_db(transaction=True)


def denied(program: Connection, command: str) -> None:
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        program.execute(sql.SQL(command))


def test_kept_rows_can_be_neither_changed_nor_removed(program: Connection) -> None:
    assert {"audit_entry", "audit_leaf", "audit_checkpoint", "people_signature"} <= kept_tables()
    for table in sorted(kept_tables()):
        described = program.execute(sql.SQL(f"SELECT * FROM {table} LIMIT 0")).description or []
        column = described[-1].name
        denied(program, f'UPDATE {table} SET "{column}" = "{column}"')
        denied(program, f"DELETE FROM {table}")
        denied(program, f"TRUNCATE {table}")
        denied(program, f"ALTER TABLE {table} DISABLE TRIGGER ALL")
        denied(program, f"DROP TABLE {table}")


@pytest.mark.parametrize(
    "command",
    [
        "INSERT INTO audit_entry (operation, changes) VALUES ('refused', '{}')",
        "SET session_replication_role = replica",
        "ALTER TABLE stations_site DISABLE TRIGGER USER",
        "TRUNCATE stations_site CASCADE",
        "CREATE TABLE mine (x int)",
        "CREATE TEMP TABLE mine (x int)",
        "CREATE FUNCTION mine() RETURNS int LANGUAGE sql AS 'SELECT 1'",
        "CREATE OR REPLACE FUNCTION audit_key_moved(table_name text) RETURNS bigint"
        " LANGUAGE sql AS 'SELECT 1::bigint'",
        "CREATE TRIGGER mine BEFORE INSERT ON audit_entry FOR EACH ROW EXECUTE FUNCTION mine()",
        "SELECT setval(pg_get_serial_sequence('audit_entry', 'id'), 1)",
        "UPDATE django_migrations SET name = name",
        "ALTER ROLE CURRENT_USER SUPERUSER",
    ],
)
def test_no_other_way_round(program: Connection, command: str) -> None:
    denied(program, command)


def test_its_work_is_recorded_all_the_same(program: Connection, role: str) -> None:
    person = User.objects.create(email="a@example.com", name="A")
    program.execute("UPDATE people_user SET name = 'B' WHERE id = %s", [person.pk])
    entry = Entry.objects.latest("pk")
    assert (entry.operation, entry.table_name, entry.db_role) == ("changed", "people_user", role)
    assert entry.changes == {"name": ["A", "B"]}


def test_the_deploy_check_names_what_is_wrong(role: str) -> None:
    (found,) = program_cannot_alter_history(databases=["default"])
    assert found.id == "audit.E001"
    assert program_cannot_alter_history(databases=None) == []


@pytest.mark.parametrize(
    ("wrong", "found"),
    [
        ("SELECT 1", []),
        ("GRANT UPDATE ON audit_entry TO {}", ["audit.E003"]),
        ("GRANT UPDATE (actor) ON audit_entry TO {}", ["audit.E003"]),
        ("GRANT INSERT ON audit_leaf TO {}", ["audit.E003"]),
        ("GRANT INSERT (note) ON audit_checkpoint TO {}", ["audit.E003"]),
        ("GRANT TRUNCATE ON audit_leaf TO {}", ["audit.E003"]),
        ("GRANT CREATE ON SCHEMA public TO {}", ["audit.E004"]),
        ("ALTER ROLE {} CREATEROLE", ["audit.E001"]),
    ],
)
def test_the_check_as_the_program(role: str, wrong: str, found: list[str]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql.SQL(wrong).format(sql.Identifier(role)))
    with signed_in(role):
        errors = program_cannot_alter_history(databases=["default"])
    assert [error.id for error in errors] == found


def test_granting_needs_another_role_that_exists() -> None:
    nobody = override_settings(PROGRAM_ROLE="nobody_of_that_name")
    with nobody, pytest.raises(CommandError, match="CREATE ROLE"):
        call_command("grant_program")
    ourselves = override_settings(PROGRAM_ROLE=connection.settings_dict["USER"])
    with ourselves, pytest.raises(CommandError, match="OWNER_DATABASE_URL"):
        call_command("grant_program")


def test_only_commands_that_alter_tables_use_the_owner(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DATABASE_URL", "postgresql://program@/x")
    monkeypatch.setenv("OWNER_DATABASE_URL", "postgresql://owner@/x")
    owned = ("migrate", "grant_program", "archive_history", "resume_sealing", "rotate_ledger_key")
    for owners in owned:
        assert address(["manage.py", owners]) == "postgresql://owner@/x"
    for others in (["manage.py", "shell"], ["celery", "migrate"], ["granian"], ["manage.py"]):
        assert address(others) == "postgresql://program@/x"
    assert READ_ONLY[0] == "audit_entry"


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ("GRANT UPDATE ON audit_entry TO {}", "audit_entry: the role {} may UPDATE."),
        ("GRANT INSERT ON audit_node TO {}", "audit_node: the role {} may INSERT."),
        ("GRANT UPDATE (target) ON recipes_formulavalue TO PUBLIC", "PUBLIC may UPDATE."),
        ("GRANT TRUNCATE ON stations_site TO {}", "stations_site: the role {} may TRUNCATE."),
        ("GRANT TRIGGER ON stations_slot TO {}", "stations_slot: the role {} may TRIGGER."),
        ("GRANT SELECT ON stations_slot TO {} WITH GRANT OPTION", "may SELECT and let others."),
    ],
)
def test_rights_beyond_the_granted_are_told(role: str, wrong: str, told: str) -> None:
    with override_settings(PROGRAM_ROLE=role):
        assert rights_beyond() == []
        with connection.cursor() as cursor:
            cursor.execute(sql.SQL(wrong).format(sql.Identifier(role)))
            found = rights_beyond()
            cursor.execute("REVOKE ALL (target) ON recipes_formulavalue FROM PUBLIC")
    assert any(told.format(role) in each for each in found), found


def test_another_role_may_read_at_most(role: str) -> None:
    found = rights_beyond()
    assert f"stations_slot: the role {role} may UPDATE." in found
    assert not any(each.endswith("SELECT.") for each in found)
