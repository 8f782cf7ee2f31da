"""``python -m gateway``: enrol, run, rotate-key, check-driver."""

import argparse
import logging
import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from gateway import VERSION, program
from gateway.client import RevokedError
from gateway.driver import MapError
from gateway.drivers import OURS, UnknownDriverError, driver
from gateway.keys import KeyFileError
from gateway.pace import Pace
from gateway.state import State, StateError
from gateway.testkit.kit import NoSuchSlotError, check, place_of

CANNOT, REVOKED = 1, 3  # exit codes


def parser() -> argparse.ArgumentParser:
    """What the program can be told."""
    own = argparse.ArgumentParser(prog="python -m gateway", description="The reference gateway.")
    own.add_argument("--version", action="version", version=VERSION)
    does = own.add_subparsers(dest="does", required=True)
    enrol = does.add_parser("enrol", help="make this box known, by a one-time code")
    enrol.add_argument("--server", required=True, help="https://...")
    enrol.add_argument("--code", required=True, help="from an owner or the site's lead")
    enrol.add_argument("--name", default="gateway")
    enrol.add_argument("--driver", default="")
    enrol.add_argument("--plain-http", action="store_true", help="the network is your own")
    run = does.add_parser("run", help="between server and machines, until it is stopped")
    _which_driver(run)
    run.add_argument("--server", default="", help="where the server is now, if it moved")
    run.add_argument("--faster", type=float, default=1.0, help="every wait divided by this")
    check = does.add_parser("check-driver", help="whether a driver does what it must")
    _which_driver(check)
    check.add_argument(
        "--slot", required=True, type=place_of, help="machine/station/slot; it is overwritten"
    )
    rotate = does.add_parser("rotate-key", help="take a new key")
    for each in (enrol, run, rotate):
        each.add_argument("--state", required=True, type=Path, help="a folder of its own")
    return own


def _which_driver(command: argparse.ArgumentParser) -> None:
    ours = ", ".join(OURS)
    command.add_argument("--driver", required=True, help=f"{ours}, or package.module:function")
    command.add_argument("--map", required=True, type=Path, help="what it must know of the bar")


def main(arguments: Sequence[str]) -> int:
    """Do one of it; 0, or why not."""
    told = parser().parse_args(arguments)
    logging.basicConfig(
        level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s: %(message)s"
    )
    logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # the driver says what is wrong
    try:
        return _do(told)
    except RevokedError as problem:
        print(f"{problem} Enrol again, into an empty folder.", file=sys.stderr)
        return REVOKED
    except (StateError, KeyFileError, MapError, UnknownDriverError, NoSuchSlotError) as problem:
        print(problem, file=sys.stderr)
        return CANNOT


def _do(told: argparse.Namespace) -> int:
    if told.does == "check-driver":
        return _check(told)
    state = State(told.state)
    if told.does == "enrol":
        program.require_safe(told.server, plain=told.plain_http)
        site = program.enrol(
            url=told.server, code=told.code, state=state, name=told.name, driver=told.driver
        )
        print(f"Enrolled at {site}; the key is {state.key}.")
    elif told.does == "rotate-key":
        program.rotate(state)
        print("The key is a new one.")
    else:
        if told.server:
            program.require_safe(told.server, plain=False)
        program.run(
            state=state,
            make=lambda folder: driver(told.driver, told.map, folder),
            pace=Pace().faster(told.faster),
            moved=told.server,
        )
    return 0


def _check(told: argparse.Namespace) -> int:
    """Ask every check; 1 where one finds something."""
    passed = True
    with TemporaryDirectory() as folder:
        checked = driver(told.driver, told.map, Path(folder))
        for name, found in check(checked, told.slot):
            passed = passed and not found
            print(f"{name:<20}{'FOUND' if found else 'ok'}")
            for words in found:
                print(f"    {words}")
    return 0 if passed else CANNOT


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
