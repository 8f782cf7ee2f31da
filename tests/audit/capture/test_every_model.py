"""Every table of the program is governed, or exempt for a stated reason."""

import pytest
from django.apps import apps
from django.db import connection

from audit.capture.governed import EXEMPT, ungoverned_models


def test_no_table_was_forgotten() -> None:
    assert ungoverned_models() == []


def test_every_exemption_has_a_reason_and_a_table() -> None:
    labels = {m._meta.label_lower for m in apps.get_models(include_auto_created=True)}
    assert set(EXEMPT) <= labels
    assert all(len(reason.split()) >= 3 for reason in EXEMPT.values())


@pytest.mark.django_db
def test_the_triggers_are_really_there() -> None:
    """In the database, switched on, and none of another package's that would look away."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT c.relname, t.tgenabled, p.prosrc, p.prosecdef FROM pg_trigger t"
            " JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid"
            " WHERE NOT t.tgisinternal AND c.relnamespace = 'public'::regnamespace"
        )
        found = cursor.fetchall()
    per_table: dict[str, int] = {}
    for table, enabled, source, as_owner in found:
        assert enabled == "O", table
        assert "_pgtrigger_should_ignore" not in source, table
        if "INSERT INTO audit_entry" in source:
            assert as_owner, table
            per_table[table] = per_table.get(table, 0) + 1
    exempt = set(EXEMPT)
    governed = {
        m._meta.db_table
        for m in apps.get_models(include_auto_created=True)
        if m._meta.label_lower not in exempt and not m._meta.proxy
    }
    assert {table for table in governed if per_table.get(table) != 3} == set()
