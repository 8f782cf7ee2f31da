"""What owners have to know of the history, as matters: each alarm there is."""

import hashlib
import re
from collections.abc import Iterable

from django.urls import reverse

from audit.alarms import alarms
from audit.sealing.lateness import waiting_now
from people.notices.kinds import Found, Kind, register_kind
from people.persons.verbs import Verb

COUNTED = re.compile(r"\d[\d.,:\s]*")  # what changes while the alarm is the same


def found_alarms() -> Iterable[Found]:
    """Alarms as owners read them at home."""
    lag = waiting_now()
    if lag.stopped:
        yield _found(f"Sealing of the history has stopped: {lag.stopped}", reverse("audit:ledger"))
    elif lag.alarm:
        yield _found("Entries of the history wait to be sealed", reverse("audit:ledger"))
    for alarm in alarms():
        yield _found(alarm.words, alarm.url, alarm.key)


def _found(words: str, url: str, known_by: str = "") -> Found:
    told = known_by or COUNTED.sub("#", words)
    key = hashlib.sha256(f"{url}\n{told}".encode()).hexdigest()[:40]
    return Found(key=key, title=words, url=url)


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind(
            code="history_alarm",
            label="Alarms of the history and the program",
            hears=Verb.HISTORY_VIEW,
            find=found_alarms,
            page="audit:ledger",
            everywhere=True,
        )
    )
