"""Logs: one line an event on standard error, times in UTC; whoever runs us stores them."""

import os
import time
from logging import Formatter


class UtcFormatter(Formatter):
    """Times in UTC, whatever the zone of the machine."""

    converter = time.gmtime


LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {
            "()": "config.settings.logs.UtcFormatter",
            "format": "%(asctime)sZ %(levelname)s %(name)s %(message)s",
        }
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": os.environ.get("LOG_LEVEL", "INFO")},
    "loggers": {"django": {"handlers": [], "propagate": True}},
}
