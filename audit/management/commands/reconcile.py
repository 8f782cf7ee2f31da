"""Compare the tables with the history now, as after a restore: `manage.py reconcile`."""

import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from audit.capture.context import Channel, RequestContext, request_context
from audit.reconciling.actions import RECONCILIATIONS
from audit.reconciling.models import Reconciliation
from audit.reconciling.run import run_reconciliation
from audit.reconciling.words import sentence


class Command(BaseCommand):
    """Prints the verdict and the differences; ends with 1 where there are any."""

    help = __doc__ or ""

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ANN401  as Django calls it
        """Run it here, without a worker."""
        request_context.set(RequestContext(channel=Channel.CONSOLE))
        made = RECONCILIATIONS.begin(by=None)
        if made is None or not run_reconciliation(made.pk):
            raise CommandError("A reconciliation is under way already: wait for its answer.")
        ended = Reconciliation.objects.get(pk=made.pk)
        self.stdout.write(ended.verdict)
        for one in ended.findings:
            self.stdout.write(f"- {one['kind']}: {sentence(one)}")
        for kind, count in ended.counts.items():
            if more := count - sum(one["kind"] == kind for one in ended.findings):
                self.stdout.write(f"- {kind}: and {more:,} more")
        if not ended.agrees:
            sys.exit(1)
