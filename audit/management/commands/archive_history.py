"""`manage.py archive_history --before 2027-01 --to FOLDER --reason …`: old months into files."""

import re
from argparse import ArgumentParser, ArgumentTypeError
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from audit.retention.archive import archive_before
from audit.retention.models import Archive
from audit.retention.plan import ArchiveError


def month(text: str) -> str:
    """'2027-01'."""
    if not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", text):
        raise ArgumentTypeError(f"{text!r} is no month such as 2027-01")
    return text


class Command(BaseCommand):
    """Each closed month into a file of its own, checked before its entries leave the database.

    Connects by OWNER_DATABASE_URL, as migrate does.
    """

    help = __doc__ or ""

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The reason is kept in the history."""
        parser.add_argument("--before", required=True, type=month, metavar="YYYY-MM")
        parser.add_argument("--to", required=True, type=Path, metavar="FOLDER")
        parser.add_argument("--reason", required=True, help="why, for the history")

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ANN401  Django's
        """Archive and print what to keep of each file."""
        try:
            archive_before(
                by=None,
                month=options["before"],
                folder=options["to"],
                reason=options["reason"],
                on_archived=self._tell,
            )
        except ArchiveError as error:
            raise CommandError(str(error)) from error

    def _tell(self, made: Archive) -> None:
        self.stdout.write(
            f"{made.months}: {made.entries:,} entries in {made.file}, {made.size:,} bytes, "
            f"SHA-256 {made.sha256}"
        )
