"""The embedded PostgreSQL server, on a Unix socket that only its owner can reach, and its roles."""

import contextlib
import os
import signal
import time
from pathlib import Path

import psutil
import psycopg
from psycopg import Connection, sql

from embedded.cluster import Cluster
from embedded.host import CannotRunError, tail
from embedded.process import Child, Program

# One role owns the tables, the other is what the program runs as.
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

SOON = 30.0  # seconds for a server to answer, recovery after a crash included
# Test data may be lost: no waiting for the disk.
CARELESS = {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}


def start(cluster: Cluster, *, careless: bool = False) -> Child:
    """Start the server, wait until it answers, and make our database if it is missing."""
    _forget_stale_pid(cluster)
    _make_socket_folder(cluster)
    child = Child(_program(cluster, careless=careless), cluster.folder)
    try:
        _wait(cluster, child)
    except BaseException:
        child.stop()
        raise
    return child


def _program(cluster: Cluster, *, careless: bool) -> Program:
    options = {
        "listen_addresses": "",
        "unix_socket_directories": f'"{cluster.sockets}"',
        "unix_socket_permissions": "0700",
        "max_connections": "200",
        "timezone": "UTC",
        "log_timezone": "UTC",
        **(CARELESS if careless else {}),
    }
    switches = [part for key, value in options.items() for part in ("-c", f"{key}={value}")]
    return Program(
        name="database",
        command=[str(cluster.programs / "postgres"), "-D", str(cluster.data), *switches],
        account=cluster.account,
        stop_signal=signal.SIGINT,  # its "fast" shutdown: ends sessions, writes everything
        stop_seconds=60,
        cwd=Path("/"),
    )


def _forget_stale_pid(cluster: Cluster) -> None:
    """Remove a postmaster.pid whose process is gone or is another program by now.

    The folder's lock is held and leftovers are stopped, so nothing of ours runs here.
    """
    data = cluster.data
    file = data / "postmaster.pid"
    if not file.exists():
        return
    with contextlib.suppress(psutil.Error, ValueError, IndexError):
        process = psutil.Process(int(file.read_text().splitlines()[0]))
        if str(data) in process.cmdline() and process.status() != psutil.STATUS_ZOMBIE:
            raise CannotRunError(
                f"A PostgreSQL that this program did not start (process {process.pid}) "
                f"serves {data}: stop it first."
            )
    file.unlink()
    # The lock beside the socket names the same process, and would be believed as well.
    (cluster.sockets / ".s.PGSQL.5432.lock").unlink(missing_ok=True)


def _make_socket_folder(cluster: Cluster) -> None:
    place = cluster.sockets
    if place == cluster.data:
        return
    owner = cluster.account.uid if cluster.account else os.geteuid()
    if not place.exists():
        place.mkdir(mode=0o700)
        if cluster.account:
            os.chown(place, owner, cluster.account.gid)
    if place.is_symlink() or place.stat().st_uid != owner:
        raise CannotRunError(f"{place} belongs to somebody else: set TMPDIR to another folder.")


def _wait(cluster: Cluster, child: Child) -> None:
    deadline = time.monotonic() + SOON
    while child.exit_code is None and time.monotonic() < deadline:
        try:
            _make_database(cluster)
        except psycopg.OperationalError:
            time.sleep(0.05)
        else:
            return
    raise CannotRunError(f"The database did not start; the end of its log:\n{tail(child.log)}")


def _make_database(cluster: Cluster) -> None:
    with psycopg.connect(cluster.url("postgres"), autocommit=True) as connection:
        make_roles(connection)
        query = "SELECT 1 FROM pg_database WHERE datname = 'portaledger'"
        if connection.execute(query).fetchone() is None:
            connection.execute("CREATE DATABASE portaledger")
    with psycopg.connect(cluster.url()) as connection:
        give_to_owner(connection)


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
