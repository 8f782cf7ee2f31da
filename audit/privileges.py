"""What the program's database role may do: everything its work takes, and nothing to history.

The owner's role makes tables and gives these rights. Capture writes as the owner (its functions
are SECURITY DEFINER), so the program may only read the entries, not even add one by itself. The
sealed tree, its checkpoints and keys grow by functions that ask for proof of the signing key.

`manage.py check --deploy --database default` asks whether the program's role could alter the
history, and every container does before it starts.
"""

from collections.abc import Iterable, Sequence

from django.apps import apps
from django.conf import settings
from django.core.checks import Error, Tags, register
from django.db import DEFAULT_DB_ALIAS, connection, connections
from psycopg import sql

from audit.capture.installed import GUARDS
from audit.capture.models import Entry
from audit.capture.triggers import Kept
from audit.reconciling.models import Baseline, BaselineRow, Carried, Structure
from audit.retention.models import Archive
from audit.sealing.models import Checkpoint, Leaf, LedgerKey, Node

_BY_THE_OWNER = (Entry, Archive, Baseline, BaselineRow, Carried, Structure)
# Appended to by functions that ask for proof of the signing key: audit.sealing.appending.
_BY_THE_SIGNER = (Leaf, Node, Checkpoint, LedgerKey)
READ_ONLY = (
    *(model._meta.db_table for model in (*_BY_THE_OWNER, *_BY_THE_SIGNER)),
    "django_migrations",
)

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


_ROLE = """
SELECT current_user, rolsuper OR rolcreaterole OR rolbypassrls OR rolreplication,
    has_schema_privilege('public', 'CREATE')
FROM pg_roles WHERE rolname = current_user
"""
_OWNED = """
SELECT count(*) FROM pg_class WHERE relnamespace = 'public'::regnamespace
    AND relkind IN ('r', 'p') AND pg_has_role(relowner, 'MEMBER')
"""
# A partition is written to through the whole alone, whatever may be inserted there.
_OPEN = """
WITH kept AS (
    SELECT oid, relname, relname = ANY(%s) AS read_only FROM pg_class
    WHERE relnamespace = 'public'::regnamespace AND relname = ANY(%s)
), part AS (
    SELECT * FROM kept
    UNION ALL SELECT c.oid, c.relname, true
    FROM kept k CROSS JOIN pg_partition_tree(k.oid) t JOIN pg_class c ON c.oid = t.relid
    WHERE t.level > 0
)
SELECT relname FROM part
WHERE has_table_privilege(oid, 'UPDATE, DELETE, TRUNCATE, TRIGGER')
    OR has_any_column_privilege(oid, 'UPDATE')
    OR read_only AND has_any_column_privilege(oid, 'INSERT')
ORDER BY 1
"""
HINT = (
    "Run `manage.py migrate` and `manage.py grant_program` with OWNER_DATABASE_URL, and give the "
    "program another, ordinary role in DATABASE_URL: see DEVELOPERS.md, Database roles."
)


@register(Tags.database, deploy=True)
def program_cannot_alter_history(
    *, databases: Sequence[str] | None = None, **kwargs: object
) -> list[Error]:
    """One error for each way in which the role we connect as could change what is recorded."""
    return [error for alias in databases or () for error in _errors(alias)]


def _errors(alias: str) -> list[Error]:
    kept = sorted(kept_tables())
    with connections[alias].cursor() as cursor:
        cursor.execute(_ROLE)
        role, mighty, creates = cursor.fetchone()
        if mighty:
            why = "is a superuser or may make roles, replicate or bypass row security"
            return [_error(1, f"The program's database role {role} {why}.")]
        cursor.execute(_OWNED)
        (owned,) = cursor.fetchone()
        cursor.execute(_OPEN, [list(READ_ONLY), kept])
        tables = [name for (name,) in cursor.fetchall()]
    errors = []
    if owned:
        why = f"owns {owned} tables and could switch their triggers off"
        errors.append(_error(2, f"The program's database role {role} {why}."))
    if tables:
        why = f"could alter what is kept in {', '.join(tables)}"
        errors.append(_error(3, f"The program's database role {role} {why}."))
    if creates:
        why = "may make tables and functions"
        errors.append(_error(4, f"The program's database role {role} {why}."))
    return errors


def _error(number: int, message: str) -> Error:
    return Error(message, hint=HINT, id=f"audit.E{number:03}")


# What roles other than a table's owner may do with it, or with columns of it.
_GRANTED = """
SELECT c.relname, c.relispartition, CASE g.grantee WHEN 0 THEN 'PUBLIC'
    ELSE coalesce(r.rolname, g.grantee::text) END, g.privilege_type, g.is_grantable
FROM pg_class c CROSS JOIN LATERAL (
    SELECT * FROM aclexplode(c.relacl)
    UNION ALL SELECT x.* FROM pg_attribute a CROSS JOIN LATERAL aclexplode(a.attacl) x
    WHERE a.attrelid = c.oid
) g LEFT JOIN pg_roles r ON r.oid = g.grantee
WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p', 'v', 'm')
    AND g.grantee <> c.relowner
ORDER BY 1, 3, 4
"""


def rights_beyond(alias: str = DEFAULT_DB_ALIAS) -> list[str]:
    """Rights that `grant` gives to nobody, a sentence each, naming role and table.

    The program's role may write what it writes; any other role may read at most.
    """
    kept = kept_tables()
    with connections[alias].cursor() as cursor:
        cursor.execute(_GRANTED)
        rows = cursor.fetchall()
    told = []
    for table, is_part, role, right, passes_on in rows:
        allowed = (
            _rights(table, kept) if role == settings.PROGRAM_ROLE and not is_part else "SELECT"
        )
        if right not in allowed.split(", ") or passes_on:
            told.append(f"{table}: the role {role} may {right}{' and let others' * passes_on}.")
    return sorted(set(told))


GUARDS.append(rights_beyond)

GUARDS_HINT = (
    "Find out who did it and what was changed meanwhile (check the history, reconcile), then let "
    "`manage.py pgtrigger install` and `manage.py pgtrigger enable` with OWNER_DATABASE_URL set "
    "the triggers up again."
)


@register(Tags.database, deploy=True)
def database_guards_itself(
    *, databases: Sequence[str] | None = None, **kwargs: object
) -> list[Error]:
    """One error for each trigger, function, rule or right that is not as it was set up."""
    return [
        Error(told, hint=GUARDS_HINT, id="audit.E005")
        for alias in databases or ()
        for look in GUARDS
        for told in look(alias)
    ]
