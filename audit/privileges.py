"""What the program's database role may do: everything its work takes, and nothing to history.

The owner's role makes tables and gives these rights. Capture writes as the owner (its functions
are SECURITY DEFINER), so the program may only read the entries, not even add one by itself.
"""

from collections.abc import Iterable

from django.apps import apps
from django.db import connection
from psycopg import sql

from audit.models import Archive, Entry
from audit.triggers import Kept

READ_ONLY = (Entry._meta.db_table, Archive._meta.db_table, "django_migrations")

# No partitions: rights to the whole reach its parts, and none are needed on a part by itself.
_TABLES = """
SELECT relname FROM pg_class
WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p') AND NOT relispartition
"""


def kept_tables() -> frozenset[str]:
    """The tables whose rows are never changed: the history, its ledger, signatures and the like."""
    return frozenset(
        model._meta.db_table
        for model in apps.get_models()
        if any(isinstance(trigger, Kept) for trigger in getattr(model._meta, "triggers", []))
    )


def grant(role: str) -> None:
    """Give the role exactly its rights, all at once. Run as the owner, in a transaction."""
    to = sql.Identifier(role)
    kept = kept_tables()
    _run("REVOKE ALL ON ALL TABLES IN SCHEMA public FROM PUBLIC, {}", to)
    _run("REVOKE ALL ON ALL SEQUENCES IN SCHEMA public FROM PUBLIC, {}", to)
    _run("REVOKE CREATE ON SCHEMA public FROM PUBLIC, {}", to)
    _run("GRANT USAGE ON SCHEMA public TO {}", to)
    # No tables, functions or triggers of its own, not even temporary ones.
    here = sql.Identifier(str(connection.settings_dict["NAME"]))
    _run("REVOKE CREATE, TEMPORARY ON DATABASE {} FROM PUBLIC, {}", here, to)
    _run("GRANT CONNECT ON DATABASE {} TO {}", here, to)
    # A table made later can be read until it is granted here.
    _run("ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT ON TABLES TO {}", to)
    for table in _names(_TABLES):
        rights = sql.SQL(_rights(table, kept))
        _run("GRANT {} ON TABLE public.{} TO {}", rights, sql.Identifier(table), to)


def _rights(table: str, kept: Iterable[str]) -> str:
    if table in READ_ONLY:
        return "SELECT"
    return "SELECT, INSERT" if table in kept else "SELECT, INSERT, UPDATE, DELETE"


def _run(command: str, *names: sql.Composable) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql.SQL(command).format(*names))


def _names(query: str) -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(query)
        return [str(name) for (name,) in cursor]
