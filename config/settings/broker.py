"""Celery and the cache, on one Redis-protocol server."""

import os

from config.schedule import BEAT_SCHEDULE

REDIS_URL = os.environ.get("REDIS_URL", "redis://127.0.0.1:6379/0")

# Shared by every web process, so that throttles count once for all of them.
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": REDIS_URL,
        "KEY_PREFIX": "portaledger",
    }
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
    "visibility_timeout": int(os.environ.get("BROKER_VISIBILITY_TIMEOUT", "600")),
    "socket_timeout": 10,
    "socket_connect_timeout": 5,
    "retry_on_timeout": True,
    "global_keyprefix": "portaledger:",
}
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_WORKER_SEND_TASK_EVENTS = False
CELERY_BEAT_SCHEDULE = BEAT_SCHEDULE
