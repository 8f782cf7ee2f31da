"""`manage.py rotate_ledger_key --reason …`: a new key signs the history's checkpoints."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from audit.sealing.keys import SealingError
from audit.sealing.rotate import rotate


class Command(BaseCommand):
    """Replace the signing key; old and new public key are written to the history."""

    help = __doc__ or ""

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The reason is kept in the history."""
        parser.add_argument("--reason", required=True, help="why, for the history")
        parser.add_argument("--lost", action="store_true", help="the old key's file is gone")

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ANN401  Django's
        """Rotate and print the new public key, for whoever wrote down the old one."""
        try:
            made = rotate(by=None, lost=options["lost"], reason=options["reason"])
        except SealingError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(made.verifier.text)
