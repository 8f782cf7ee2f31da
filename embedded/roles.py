"""The embedded database's roles: one owns the tables, the other is what the program runs as."""

from psycopg import Connection, sql

SUPERUSER = "postgres"
OWNER = "portaledger_owner"
PROGRAM = "portaledger_program"

# What an earlier run made as superuser belongs to the owner from now on.
_STRAY = """
SELECT format('ALTER TABLE %s OWNER TO ', oid::regclass) FROM pg_class
WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p')
    AND relowner <> %(owner)s::regrole
UNION ALL
SELECT format('ALTER ROUTINE %s OWNER TO ', oid::regprocedure) FROM pg_proc
WHERE pronamespace = 'public'::regnamespace AND proowner <> %(owner)s::regrole
""".replace("%s", "%%s")


def make_roles(connection: Connection) -> None:
    """Make both roles if they are missing; neither is more than an ordinary role.

    Without passwords: the socket lies in a folder that only we may enter.
    """
    for name in (OWNER, PROGRAM):
        known = connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [name])
        if known.fetchone() is None:
            connection.execute(sql.SQL("CREATE ROLE {} LOGIN").format(sql.Identifier(name)))


def give_to_owner(connection: Connection) -> None:
    """Make the owner the owner of this database and of all that lies in it."""
    owner, here = sql.Identifier(OWNER), sql.Identifier(connection.info.dbname)
    connection.execute(sql.SQL("ALTER DATABASE {} OWNER TO {}").format(here, owner))
    for (command,) in connection.execute(_STRAY, {"owner": OWNER}).fetchall():
        connection.execute(sql.SQL(command) + owner)
