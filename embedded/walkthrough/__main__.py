"""Entry point: `python -m embedded.walkthrough ADDRESS…`; exit code 0 only if every step did."""

import sys
from http.client import OK

from embedded.walkthrough.browser import Addresses, Browser, Stage
from embedded.walkthrough.script import STEPS
from embedded.walkthrough.telling import tell


def main(addresses: list[str]) -> int:
    """Take every step against these web processes, in turn; 1 if one went differently."""
    if not addresses or not all(each.startswith(("http://", "https://")) for each in addresses):
        print("Give one or more addresses, such as http://127.0.0.1:8000.", file=sys.stderr)
        return 2
    for address in addresses:
        if told := silence(address):
            print(f"{address} does not answer ({told}): is it served?", file=sys.stderr)
            return 2
    return 1 if tell(STEPS, Stage(addresses)) else 0


def silence(address: str) -> str:
    """Why the address can't be walked through; empty when it answers."""
    try:
        status = Browser(Addresses([address])).open("/readyz").status
    except OSError as lost:
        return str(lost)
    return "" if status == OK else f"status {status}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
