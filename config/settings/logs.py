"""Logs: one line an event on standard error, times in UTC; whoever runs us stores them."""

import os
from datetime import UTC, datetime
from logging import Formatter, LogRecord


class UtcFormatter(Formatter):
    """Times in UTC to the millisecond (RFC 3339), whatever the zone of the machine."""

    def formatTime(self, record: LogRecord, datefmt: str | None = None) -> str:  # noqa: N802
        """The record's moment."""
        return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")


LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {
            "()": "config.settings.logs.UtcFormatter",
            "format": "%(asctime)s %(levelname)s %(name)s %(message)s",
        }
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": os.environ.get("LOG_LEVEL", "INFO")},
    "loggers": {"django": {"handlers": [], "propagate": True}},
}
