"""`python -m audit.ledger verify BUNDLE [--since CHECKPOINT] [--archive FILE …] [--key KEY]
[--tables FILE] [--witness KEY … [--quorum N]]`.

The offline check of a history; how it ends is in EXITS. `python -m audit.ledger witness` is an
independent witness of one (audit.ledger.witness). Neither needs Django or a database.
"""

from __future__ import annotations

import sys
from argparse import ArgumentParser, Namespace, RawDescriptionHelpFormatter
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from itertools import chain
from pathlib import Path

from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Pinned, Report
from audit.ledger.bundle.tables import Tables, history_of, tables_of
from audit.ledger.errors import LedgerError
from audit.ledger.note import Verifier
from audit.ledger.witness import command
from audit.ledger.witness.cosignature import WitnessKey

EXITS = """\
exit codes, the first line of the answer says the same:
  0: intact, and signed by the key given with --key
  1: not proven intact, or the tables given are not what the history says
  2: could not be checked: a file or key that can't be read
  3: intact, but no key was given: who signs everything anew with another key passes too
  4: signed by another key than the one given with --key, whatever else holds
  5: intact, but fewer witnesses saw a state of it than were asked for, with --witness or by the
     policy that owners signed, as the history has it
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    chosen = _parser().parse_args(arguments)
    if chosen.command == "witness":
        return command.run(chosen)
    try:
        return _verify(chosen)
    except (OSError, UnicodeDecodeError, LedgerError) as error:
        print(f"Could not check: {error}", file=sys.stderr)
        return 2


def _parser() -> ArgumentParser:
    parser = ArgumentParser(
        prog="python -m audit.ledger", description="Check or witness a history."
    )
    commands = parser.add_subparsers(required=True, dest="command", metavar="verify|witness")
    command.arguments(commands.add_parser("witness", help="cosign checkpoints as a witness"))
    verify_ = commands.add_parser(
        "verify", help="check a bundle and say what is intact", epilog=EXITS,
        formatter_class=RawDescriptionHelpFormatter,
    )  # fmt: skip
    verify_.add_argument("bundle", type=Path, help="the bundle, as exported")
    verify_.add_argument(
        "--since", type=Path, action="append", default=[], metavar="CHECKPOINT",
        help="a checkpoint kept from before; may be given more than once",
    )  # fmt: skip
    verify_.add_argument(
        "--archive", type=Path, action="extend", nargs="+", default=[], metavar="FILE",
        help="archives of older entries, to be looked at as well",
    )  # fmt: skip
    verify_.add_argument(
        "--tables", type=Path, metavar="FILE",
        help="the tables, exported before the bundle: they are compared with a replay of it",
    )  # fmt: skip
    verify_.add_argument(
        "--key", action="append", default=[], help="a signing key you trust, as written down"
    )
    verify_.add_argument(
        "--witness", action="append", default=[], metavar="KEY",
        help="a witness's key you trust, as it says at its start; may be given more than once",
    )  # fmt: skip
    verify_.add_argument(
        "--quorum", type=int, metavar="N",
        help="how many of those witnesses must have seen it (all)",
    )  # fmt: skip
    return parser


def _verify(chosen: Namespace) -> int:
    keys = [Verifier.read(text) for text in chosen.key]
    witnesses = [WitnessKey.read(text) for text in chosen.witness]
    since = [path.read_text("utf-8") for path in chosen.since]
    with ExitStack() as files:
        lines: Iterable[bytes] = history_of(files.enter_context(chosen.bundle.open("rb")))
        tables = _tables(chosen, files)
        lines = tables.watch(lines) if tables else lines
        archives = {str(path): files.enter_context(path.open("rb")) for path in chosen.archive}
        report = verify(
            lines,
            keys=keys,
            since=since,
            archives=archives,
            witnesses=witnesses,
            quorum=chosen.quorum,
        )
        if tables:
            tables.compare(report)
    for line in report.lines():
        print(line)
    return exit_code(report)


def _tables(chosen: Namespace, files: ExitStack) -> Tables | None:
    """Those that the bundle begins with, or of a file of their own; None for none of either."""
    inside = tables_of(files.enter_context(chosen.bundle.open("rb")))
    first = next(inside, b"")
    if first and chosen.tables:
        raise LedgerError("tables", chosen.tables, "none, as the bundle begins with its own")
    if chosen.tables:
        return Tables(files.enter_context(chosen.tables.open("rb")))
    return Tables(chain([first], inside)) if first else None


def exit_code(report: Report) -> int:
    """How the command ends; see EXITS."""
    if report.pinned is Pinned.OTHER:
        return 4
    if not report.intact:
        return 1
    if report.unseen:
        return 5
    return 0 if report.pinned is Pinned.KEY else 3


if __name__ == "__main__":
    sys.exit(main())
