"""Ask this machine's own web process whether it is well: `python -m config.probe`.

For container health checks: asks by loopback, under the name the program answers to.
"""

import os
import sys
import urllib.error
import urllib.request


def main() -> int:
    """0 when /readyz answers 200 within five seconds, else 1 with the reason."""
    name = os.environ.get("ALLOWED_HOSTS", "127.0.0.1").split(",")[0].lstrip(".")
    url = f"http://127.0.0.1:{os.environ.get('PORT', '8000')}/readyz"
    request = urllib.request.Request(url, headers={"Host": name})
    try:
        with urllib.request.urlopen(request, timeout=5):  # noqa: S310 - our own
            return 0
    except (urllib.error.URLError, TimeoutError, ConnectionError) as problem:
        print(problem, file=sys.stderr)
        return 1


if __name__ == "__main__":
    sys.exit(main())
