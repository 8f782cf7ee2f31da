"""Write the governed tables to a file: `manage.py export_tables FILE`, before a bundle."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from audit.reconciling.taking import table_lines


class Command(BaseCommand):
    """For `python -m audit.ledger verify BUNDLE --tables FILE`, with a bundle exported later."""

    help = __doc__ or ""

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to."""
        parser.add_argument("file", type=Path, help="a file that is not there yet")

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ANN401  Django's
        """Write it."""
        with options["file"].open("xb") as out:
            out.writelines(table_lines())
        self.stdout.write(f"{options['file']}: now export the bundle.")
