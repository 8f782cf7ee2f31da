"""The embedded PostgreSQL server, on a Unix socket that only its owner can reach."""

import contextlib
import os
import signal
import time
from pathlib import Path

import psutil
import psycopg

from embedded.cluster import Cluster
from embedded.process import Child, Program
from embedded.roles import give_to_owner, make_roles
from embedded.sentences import CannotRunError, tail

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
