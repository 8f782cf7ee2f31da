"""Entry point: `python -m embedded demo | walkthrough | lend COMMAND...`."""

import argparse
import os
import signal
import sys
from types import FrameType

from embedded import commands
from embedded.host import CannotRunError, say
from embedded.process import die_with_parent

ENDINGS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


def main(arguments: list[str]) -> int:
    """Run one command; its exit code, with a sentence on standard error when it cannot run."""
    options = _parser().parse_args(arguments)
    _stop_on_signals()
    die_with_parent()
    try:
        return _run(options)
    except CannotRunError as problem:
        print(problem, file=sys.stderr)
        return 1
    except OSError as problem:
        if not problem.filename:
            raise
        print(
            f"{problem.filename} cannot be used ({problem.strerror}): set PORTALEDGER_DATA to a "
            "folder you may write to.",
            file=sys.stderr,
        )
        return 1
    except KeyboardInterrupt:
        say("Everything this run started is stopped.")
        return 0 if options.command == "demo" else 130


def _run(options: argparse.Namespace) -> int:
    if options.command == "demo":
        return commands.demo(port=options.port, reset=options.reset)
    if options.command == "walkthrough":
        return commands.walkthrough(web=options.web, workers=options.workers)
    return commands.lend(command=options.arguments)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("python -m embedded", description=__doc__)
    choices = parser.add_subparsers(dest="command", required=True)
    demo = choices.add_parser("demo", help="serve the demo scenario until Ctrl-C")
    demo.add_argument("--port", type=int, default=_number("PORT", 8000))
    demo.add_argument("--reset", action="store_true", default=os.environ.get("RESET") == "1")
    walk = choices.add_parser("walkthrough", help="run the main job over HTTP and tell it")
    walk.add_argument("--web", type=int, default=_number("WEB", 1))
    walk.add_argument("--workers", type=int, default=_number("WORKERS", 1))
    lend = choices.add_parser("lend", help="run a command with throw-away servers")
    lend.add_argument("arguments", nargs=argparse.REMAINDER)
    return parser


def _number(name: str, default: int) -> int:
    value = os.environ.get(name) or str(default)
    if not value.isdecimal() or not 0 < int(value) < 65536:
        sys.exit(f"{name}={value} is not a number from 1 to 65535.")
    return int(value)


def _stop_on_signals() -> None:
    """Let the first ending signal unwind everything, and no second one disturb that."""

    def stop(number: int, frame: FrameType | None) -> None:
        for ending in ENDINGS:
            signal.signal(ending, signal.SIG_IGN)
        raise KeyboardInterrupt

    for ending in ENDINGS:
        signal.signal(ending, stop)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
