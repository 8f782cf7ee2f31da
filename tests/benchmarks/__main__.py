"""`make bench`: every line of the table measured in one run, side by side.

A database of its own is made on the server and removed afterwards. SMALL=1 shrinks everything,
to see that it runs; its figures say nothing.
"""

import gc
import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import django
from django.test.utils import setup_databases, teardown_databases

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
os.environ.setdefault("PORTALEDGER_MODE", "test")
django.setup()
warnings.filterwarnings("ignore", "No directory at", UserWarning)  # nothing is served here

from tests.benchmarks import (  # noqa: E402
    capture,
    grid,
    history,
    ledger,
    menus,
    metrology,
    placing,
    reconciling,
    table,
)
from tests.benchmarks.chain import make_chain  # noqa: E402


@contextmanager
def database() -> Iterator[None]:
    """An empty, migrated database for this run."""
    made = setup_databases(verbosity=0, interactive=False)
    try:
        yield
    finally:
        teardown_databases(made, verbosity=0)


def main() -> None:
    """Measure, print, and write JSON lines where JSON=path asks for them."""
    small = os.environ.get("SMALL") == "1"
    gc.freeze()  # as servers and workers do once they are loaded
    with database():
        chain = make_chain(20 if small else 1000)
        lines = placing.rows(chain)
        lines += reconciling.rows(chain, governed=20_000 if small else 1_000_000)
        lines += ledger.rows(chain, entries=20_000 if small else 1_000_000)
        lines += history.rows(chain, entries=20_000 if small else 10_000_000)
        lines += grid.rows(chain)
        lines += menus.rows(chain)
    lines += capture.rows()
    if not small:
        lines += [table.line_of(dict(row)) for row in metrology.rows()]
    lines = [replace(line, machine=table.machine()) for line in lines]
    table.show(lines)
    if path := os.environ.get("JSON"):
        table.save(lines, Path(path))


if __name__ == "__main__":
    main()
