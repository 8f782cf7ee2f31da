"""PostgreSQL, by its postgresql:// address."""

import os
import sys
from urllib.parse import parse_qs, unquote, urlsplit

from config.settings.mode import TESTING


def database(url: str) -> dict[str, object]:
    """Django's form of a postgresql:// address; a socket folder may stand in ?host=."""
    parts = urlsplit(url)
    query = {key: values[0] for key, values in parse_qs(parts.query).items()}
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": parts.path.lstrip("/"),
        "USER": unquote(parts.username or ""),
        "PASSWORD": unquote(parts.password or ""),
        "HOST": query.pop("host", parts.hostname or ""),
        "PORT": str(parts.port or ""),
        "OPTIONS": {**query, **_pool()},
        "TEST": {"NAME": os.environ.get("TEST_DB_NAME") or None},
    }


def _pool() -> dict[str, object]:
    """A pool per process; tests open and count their own connections instead."""
    size = int(os.environ.get("DATABASE_POOL", "0" if TESTING else "10"))
    return {"pool": {"min_size": 1, "max_size": size, "timeout": 10}} if size else {}


# Only these commands alter tables or take one away. All else runs as the program's role.
OWNERS_COMMANDS = frozenset({"migrate", "grant_program", "archive_history"})


def address(arguments: list[str]) -> str:
    """Which database address this process uses: the owner's for its commands, if there is one."""
    program = os.environ.get("DATABASE_URL", "postgresql:///portaledger")
    command = arguments[1] if len(arguments) > 1 else ""
    if command in OWNERS_COMMANDS and arguments[0].endswith("manage.py"):
        return os.environ.get("OWNER_DATABASE_URL") or program
    return program


# The role that grant_program grants to: the one the program connects as.
PROGRAM_ROLE = os.environ.get("PROGRAM_ROLE") or str(
    database(os.environ.get("DATABASE_URL", ""))["USER"]
)
DATABASES = {"default": database(address(sys.argv))}
