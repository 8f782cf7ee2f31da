"""The embedded database after interruptions: half-made, crashed, or from another version."""

import os
import signal

import psycopg
import pytest

from embedded import cluster, postgres
from embedded.cluster import Cluster
from embedded.commands import temporary_folder
from embedded.folder import Folder
from embedded.host import CannotRunError, database_account, elsewhere_path, may
from embedded.process import stop_leftovers


def tables(made: Cluster) -> list[str]:
    with psycopg.connect(made.url()) as connection:
        rows = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")
        return [name for (name,) in rows]


def test_an_interrupted_first_start_is_made_good(folder: Folder) -> None:
    half = folder.path / "database.new"
    half.mkdir()
    (half / "PG_VERSION").write_text("18\n")
    made = cluster.prepare(folder)
    child = postgres.start(made, careless=True)
    try:
        assert tables(made) == []
    finally:
        child.stop()


def test_an_incomplete_cluster_is_named_and_left_alone(folder: Folder) -> None:
    kept = folder.path / "database" / "base"
    kept.mkdir(parents=True)
    with pytest.raises(CannotRunError, match=r"incomplete.*RESET=1"):
        cluster.prepare(folder)
    assert kept.exists()


def test_a_cluster_of_another_version_is_named_and_left_alone(folder: Folder) -> None:
    control = folder.path / "database" / "global" / "pg_control"
    control.parent.mkdir(parents=True)
    control.touch()
    (folder.path / "database" / "PG_VERSION").write_text("15\n")
    with pytest.raises(CannotRunError, match="made by PostgreSQL 15 and this is 18"):
        cluster.prepare(folder)
    assert control.exists()


@pytest.mark.parametrize("reused", [False, True], ids=["process gone", "id reused by another"])
def test_a_crash_leaves_a_stale_pid_and_keeps_the_data(folder: Folder, reused: bool) -> None:
    made = cluster.prepare(folder)
    child = postgres.start(made)
    with psycopg.connect(made.url()) as connection:
        connection.execute("CREATE TABLE kept ()")
    os.kill(child.pid, signal.SIGKILL)
    child.stop()
    stale = made.data / "postmaster.pid"
    if reused:
        for lock in (stale, made.sockets / ".s.PGSQL.5432.lock"):
            lines = lock.read_text().splitlines()
            lock.write_text("\n".join([str(os.getpid()), *lines[1:]]) + "\n")
    assert stale.exists()
    again = postgres.start(made)
    try:
        assert tables(made) == ["kept"]
    finally:
        again.stop()


def test_a_server_left_by_a_killed_run_is_stopped_first(folder: Folder) -> None:
    made = cluster.prepare(folder)
    left = postgres.start(made, careless=True)
    stop_leftovers(folder)
    assert left.exit_code is not None
    again = postgres.start(made, careless=True)
    again.stop()


def test_a_path_too_long_for_a_socket(folder: Folder) -> None:
    deep = folder.path / ("long" * 25)
    made = cluster.prepare(Folder.at(deep))
    child = postgres.start(made, careless=True)
    try:
        assert made.sockets != made.data
        assert tables(made) == []
    finally:
        child.stop()
        made.sockets.rmdir()


@pytest.mark.skipif(os.geteuid() != 0, reason="only root runs the database as another user")
def test_a_folder_the_database_user_may_not_enter() -> None:
    with temporary_folder("closed") as folder:
        folder.path.chmod(0o700)
        made = cluster.prepare(folder)
        assert made.home == elsewhere_path(folder.path)
        assert folder.path.stat().st_mode & 0o777 == 0o700, "permissions stay as they are"
        assert not may(database_account(), "-x", folder.path)
        postgres.start(made, careless=True).stop()
    assert not elsewhere_path(folder.path).exists()
