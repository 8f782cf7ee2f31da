"""`manage.py resume_sealing --reason …`: somebody has looked, and sealing goes on."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from audit.sealing.keys import SealingError
from audit.sealing.resume import resume


class Command(BaseCommand):
    """Go on from the database's newest checkpoint, after a stop; run it where the key is.

    The reason, and the signed state that is given up, are written to the history.
    """

    help = __doc__ or ""

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The reason is kept in the history."""
        parser.add_argument("--reason", required=True, help="what was found, for the history")
        parser.add_argument(
            "--as-it-stands",
            action="store_true",
            help="sign the stored tree whatever it holds: where no backup can put it right",
        )

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ANN401  Django's
        """Resume and print from where."""
        try:
            words = resume(by=None, reason=options["reason"], as_it_stands=options["as_it_stands"])
        except SealingError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(words)
