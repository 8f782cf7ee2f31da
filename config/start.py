"""Start one of our processes in a container: `python -m config.start COMMAND...`.

Asks the deploy checks first, those on the database too, and starts nothing if one fails.
"""

import os
import subprocess
import sys
from typing import NoReturn

CHECK = [sys.executable, "manage.py", "check", "--deploy", "--database", "default"]


def main(command: list[str]) -> NoReturn:
    """Replace this process with the command; end with the check's code when it finds an error."""
    if code := subprocess.run(CHECK, check=False).returncode:  # noqa: S603 - a constant
        sys.exit(code)
    os.execvp(command[0], command)  # noqa: S606 - the image's own command


if __name__ == "__main__":
    main(sys.argv[1:])
