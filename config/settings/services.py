"""What the program leans on: database, broker, mail, and the key that signs the history."""

import sys
from pathlib import Path
from typing import Any

from kombu import Queue

from audit.ledger.witness.known import known_witnesses
from config.environment import env
from config.schedule import BEAT_SCHEDULE, LONG
from config.settings.base import BASE_DIR, DEBUG, DEMO, TESTING
from config.settings.security import CSRF_TRUSTED_ORIGINS
from web.answering import CONNECT, watched

# PostgreSQL, by its postgresql:// address

WEB = env.str("PORTALEDGER_PROCESS", default="") == "web"  # said by config/wsgi.py
# Seconds a query of a page or endpoint may run; a third of it for waiting on somebody's lock.
LONGEST_QUERY = env.int("DATABASE_LONGEST_QUERY", default=30)


def database(url: str) -> dict[str, object]:
    """Django's form of a postgresql:// address; a socket folder may stand in ?host=."""
    parts = env.db_url_config(url, engine="django.db.backends.postgresql")
    options = parts.pop("OPTIONS", {})
    return {
        **parts,
        "HOST": options.pop("host", parts["HOST"]),
        "OPTIONS": {"connect_timeout": CONNECT if WEB else 10, **_limited(options), **_pool()},
        "CONN_HEALTH_CHECKS": True,  # the pool hands out no connection that a restart cut
        "TEST": {"NAME": env.str("TEST_DB_NAME", default=None)},
    }


def _limited(options: dict[str, object]) -> dict[str, object]:
    """How long the server lets a page's queries run and wait; what workers do may take long."""
    if not (WEB and LONGEST_QUERY):
        return options
    limits = {"statement_timeout": LONGEST_QUERY, "lock_timeout": LONGEST_QUERY / 3}
    told = [f"-c {name}={seconds * 1000:.0f}" for name, seconds in limits.items()]
    return {**options, "options": " ".join([*told, str(options.get("options", ""))]).strip()}


def _pool() -> dict[str, object]:
    """A pool per process; tests open and count their own connections instead.

    A connection that can't be made is tried again every second, not ever more seldom: whoever asks
    meanwhile is told that it is away.
    """
    size = env.int("DATABASE_POOL", default=0 if TESTING else 20)
    if not size:
        return {}
    longest = float(LONGEST_QUERY) if WEB and LONGEST_QUERY else float("inf")
    wait = 3 if WEB else 10  # seconds for a connection
    kept = {"min_size": 1, "max_size": size, "timeout": wait, "reconnect_timeout": 1}
    return {"pool": {**kept, "connection_class": watched(longest)}}


# Only these commands alter tables, take one away, or append to the sealed history where the key
# that signed it is lost or its newest row was altered. All else runs as the program's role.
OWNERS_COMMANDS = frozenset(
    {"migrate", "grant_program", "archive_history", "resume_sealing", "rotate_ledger_key"}
)


def address(arguments: list[str]) -> str:
    """Which database address this process uses: the owner's for its commands, if there is one."""
    program: str = env.str("DATABASE_URL", default="postgresql:///portaledger")
    command = arguments[1] if len(arguments) > 1 else ""
    if command in OWNERS_COMMANDS and arguments[0].endswith("manage.py"):
        program = env.str("OWNER_DATABASE_URL", default=program)
    return program


DATABASES = {"default": database(address(sys.argv))}
# The role that grant_program grants to: the one the program connects as.
PROGRAM_ROLE = env.str("PROGRAM_ROLE", default="") or str(database(address([]))["USER"])

# Celery and the cache, on one Redis-protocol server

REDIS_URL: str = env.str("REDIS_URL", default="redis://127.0.0.1:6379/0")

# Both shared by every process. Tries of passwords are counted in the database: they count whatever
# else is away. What may be lost is in the broker.
CACHES: dict[str, dict[str, Any]] = {
    "default": {"BACKEND": "web.lasting_cache.LastingCache", "KEY_PREFIX": "portaledger"},
    "quick": {
        "BACKEND": "web.quick_cache.QuickCache",
        "LOCATION": REDIS_URL,
        "KEY_PREFIX": "portaledger",
        "OPTIONS": {"socket_timeout": 0.5, "socket_connect_timeout": 0.5},
    },
}

CELERY_BROKER_URL = REDIS_URL
CELERY_TASK_IGNORE_RESULT = True  # outcomes live in the database, next to what they are about
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TIMEZONE = "UTC"
CELERY_ENABLE_UTC = True

# A task is acknowledged when done: one whose worker was killed runs again. Every task is
# therefore written to be repeatable.
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
# Seconds until a lost worker's unacknowledged tasks go to another one. Must stay above the
# hard time limit, or a slow task would be handed out while it still runs.
CELERY_TASK_SOFT_TIME_LIMIT = 8 * 60
CELERY_TASK_TIME_LIMIT = 9 * 60
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": env.int("BROKER_VISIBILITY_TIMEOUT", default=600),
    "socket_timeout": 10,
    "socket_connect_timeout": 5,
    "retry_on_timeout": True,
    "global_keyprefix": "portaledger:",
}
# Of what is sent: once more by a new connection, then whoever waits for it goes on without. What
# was asked for stands in the database, where the sweeps of the schedule find it.
CELERY_TASK_PUBLISH_RETRY_POLICY = {"max_retries": 1, "interval_start": 0, "interval_step": 0}
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_WORKER_SEND_TASK_EVENTS = False
CELERY_BEAT_SCHEDULE = BEAT_SCHEDULE
CELERY_BEAT_SCHEDULER = "config.beat:SteadyScheduler"
# A worker that is told nothing takes from both queues. What may take minutes, or waits for servers
# outside, stands in one of its own: with a worker for each nothing delays a publication.
CELERY_TASK_QUEUES = [Queue("celery"), Queue("long")]
CELERY_TASK_ROUTES = {task: {"queue": "long"} for task in LONG}

# Mail

# Without a mail server the demo prints mail into its own log. A deployment does not: a link to set
# a password is a password to whoever reads the log.
_WITHOUT = "console" if DEMO or TESTING or DEBUG else "dummy"
EMAIL_BACKEND = (
    f"django.core.mail.backends.{'smtp' if 'EMAIL_HOST' in env else _WITHOUT}.EmailBackend"
)
EMAIL_HOST = env.str("EMAIL_HOST", default="localhost")
EMAIL_PORT = env.int("EMAIL_PORT", default=25)
EMAIL_HOST_USER = env.str("EMAIL_HOST_USER", default="")
EMAIL_HOST_PASSWORD = env.str("EMAIL_HOST_PASSWORD", default="")
EMAIL_USE_TLS = env.bool("EMAIL_USE_TLS", default=False)
EMAIL_TIMEOUT = 10  # seconds
# Where people reach this program, as mail and pushes name it: https:// and the name.
PUBLIC_URL: str = env.str("PUBLIC_URL", default="") or next(iter(CSRF_TRUSTED_ORIGINS), "")
DEFAULT_FROM_EMAIL = env.str("EMAIL_FROM", default="portaledger@localhost")

# The ledger over the history: its signing key, its mail, and when it is late

# The secret half of the key that signs checkpoints. Made at first start by whoever seals (the
# workers), readable by that user only, and never in the database: who can rewrite the database
# must not be able to sign what they wrote. Every worker needs the same file.
LEDGER_KEY_FILE = env.str("LEDGER_KEY_FILE", default=str(BASE_DIR / "var" / "ledger_key"))
# The secret half of the key that signs what is pushed to devices, made at first use by the workers
# and theirs alone, like the ledger's.
PUSH_KEY_FILE = env.str("PUSH_KEY_FILE", default=str(Path(LEDGER_KEY_FILE).with_name("push_key")))
# The beginning of the history's name in its checkpoints; a random part follows it.
LEDGER_NAME = env.str("LEDGER_NAME", default="portaledger")
# Who gets the newest checkpoint every day: addresses outside, which nobody here can change later.
LEDGER_MAIL_TO = env.list("LEDGER_MAIL_TO", cast=str.strip, default=[])
# Seconds after which an entry that is not sealed yet raises the alarm.
LEDGER_LATE: int = env.int("LEDGER_LATE", default=60)

# Independent witnesses of the history: `KEY URL`, comma-separated (docs/history-and-archives.md,
# Witnesses), how many of them must have seen a state, and seconds until a state that fewer have
# seen raises the alarm.
LEDGER_WITNESSES, LEDGER_WITNESSES_NEEDED = known_witnesses(
    env.list("LEDGER_WITNESSES", cast=str.strip, default=[]),
    env.int("LEDGER_WITNESSES_NEEDED", default=None),
)
LEDGER_WITNESS_LATE: int = env.int("LEDGER_WITNESS_LATE", default=300)
