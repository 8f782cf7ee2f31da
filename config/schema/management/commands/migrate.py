"""`migrate`: an empty database gets its tables at once; one of a newer program is refused."""

from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.core.management.commands import migrate
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader

from config.schema.snapshot import Snapshot, is_empty, load, major_of

# Who asks for one of these wants to see or do something with single migrations.
_SINGLE = ("app_label", "fake", "fake_initial", "plan", "check_unapplied", "prune", "one_by_one")


class Command(migrate.Command):
    """Django's own, with a shorter way for an empty database."""

    def add_arguments(self, parser: CommandParser) -> None:
        """Django's arguments, and ours."""
        super().add_arguments(parser)
        parser.add_argument(
            "--one-by-one",
            action="store_true",
            help="Run every migration on an empty database too.",
        )

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ANN401  Django's
        """Refuse what can't be migrated, make the tables of an empty database, then migrate."""
        connection = connections[options["database"]]
        require_known(connection)
        if not any(options.get(name) for name in _SINGLE):
            make_tables(connection)
        super().handle(*args, **options)


def require_known(connection: BaseDatabaseWrapper) -> None:
    """Raise CommandError when the database has had migrations that this program does not have."""
    loader = MigrationLoader(connection)
    ours = {app for app, _ in loader.disk_migrations}
    unknown = sorted(
        f"{app}.{name}"
        for app, name in loader.applied_migrations
        if app in ours and (app, name) not in loader.disk_migrations
    )
    if unknown:
        raise CommandError(
            f"A newer release has migrated this database ({unknown[-1]}), and nothing is migrated "
            "back: start that release or a later one, or restore a backup of before the update."
        )


def make_tables(connection: BaseDatabaseWrapper) -> None:
    """Load the snapshot where it fits: an empty database on a server of its version."""
    if not is_empty(connection):
        return
    snapshot = Snapshot.read()
    if major_of(connection) == snapshot.major:
        load(snapshot, connection)
