"""The governed tables as they stand and the whole history in one file, for the offline check.

The tables come first, read in one moment. What the history says of them has to be sealed and
exported after that, so the history waits for the sealer.
"""

import time
from collections.abc import Iterator
from tempfile import TemporaryFile

from django.db import connection

from audit.exporting.bundle import bundle
from audit.reconciling.taking import table_lines
from audit.sealing.lateness import waiting_now

LONGEST = 30.0  # seconds to wait for the sealer, who comes every three
EVERY = 0.5


def bundle_with_tables() -> Iterator[bytes]:
    """The lines, to stream. Without a sealer the check says which entry is not there yet."""
    with TemporaryFile() as kept:
        # Aside first: whoever downloads slowly keeps no snapshot of the database open.
        kept.writelines(table_lines())
        kept.seek(0)
        _wait_for_seal()
        yield from kept
    yield from bundle()


def _wait_for_seal() -> None:
    """Until all that was written before now is sealed, or nothing speaks for it being so soon."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")  # the clock that writes entries
        (moment,) = cursor.fetchone()
    until = time.monotonic() + LONGEST
    while time.monotonic() < until:
        lag = waiting_now()
        if lag.stopped or lag.oldest is None or lag.oldest > moment:
            return
        time.sleep(EVERY)
