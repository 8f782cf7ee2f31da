"""Deploy checks on the database: the program must not be able to alter the history.

`manage.py check --deploy --database default` asks, and every container does before it starts.
"""

from collections.abc import Sequence

from django.core.checks import Error, Tags, register
from django.db import connections

from audit.privileges import READ_ONLY, kept_tables

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
            said = "is a superuser or may make roles, replicate or bypass row security"
            return [_error(1, f"The program's database role {role} {said}.")]
        cursor.execute(_OWNED)
        (owned,) = cursor.fetchone()
        cursor.execute(_OPEN, [list(READ_ONLY), kept])
        tables = [name for (name,) in cursor.fetchall()]
    errors = []
    if owned:
        said = f"owns {owned} tables and could switch their triggers off"
        errors.append(_error(2, f"The program's database role {role} {said}."))
    if tables:
        said = f"could alter what is kept in {', '.join(tables)}"
        errors.append(_error(3, f"The program's database role {role} {said}."))
    if creates:
        said = "may make tables and functions"
        errors.append(_error(4, f"The program's database role {role} {said}."))
    return errors


def _error(number: int, message: str) -> Error:
    return Error(message, hint=HINT, id=f"audit.E{number:03}")
