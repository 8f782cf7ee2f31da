"""What an owner has to know of the history at once: at home, in /healthz and in the log.

Whoever finds something registers a source beside it, in a module that audit/apps.py imports, and
whoever shows it asks `alarms`. What a source tells has to be stored or cheap to find out: it is
asked for on every owner's home page.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Alarm:
    """One sentence, the page that says more, its mark (templates/README.md) and since when.

    `key` is what it is known by where other words than its numbers change as it lasts.
    """

    words: str
    url: str
    mark: str = "differs"
    since: datetime | None = None
    key: str = ""


Source = Callable[[], Iterable[Alarm]]
_SOURCES: dict[str, Source] = {}


def register_alarm(source: Source) -> Source:
    """Let a source be asked. Once for each: registering again changes nothing."""
    _SOURCES[f"{source.__module__}.{source.__qualname__}"] = source
    return source


def alarms() -> list[Alarm]:
    """Everything there is now, in the order in which the sources were registered."""
    return [alarm for source in _SOURCES.values() for alarm in source()]
