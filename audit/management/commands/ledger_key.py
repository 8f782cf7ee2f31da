"""Print the public key that signs the history, for a witness: made if there is none yet.

Run it where the workers run: only they have the key's file.
"""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from audit.sealing import store
from audit.sealing.keys import SealingError, signer
from audit.sealing.memory import signing_alone


class Command(BaseCommand):
    """`manage.py ledger_key`."""

    help = __doc__ or ""

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ANN401  Django's
        """Print it. Raises CommandError if the file is gone or another history's."""
        try:
            with signing_alone(wait=True), transaction.atomic():
                store.sealing_alone(wait=True)
                self.stdout.write(signer().verifier.text)
        except SealingError as error:
            raise CommandError(str(error)) from error
