"""What signed plans said, remembered in little by each process.

A chain's plan is megabytes, and a page shows a few of its slots: reading it anew for every page
costs more than everything else on it. What is remembered is a fingerprint of each station's
settings, of content that had the digest signed, for as long as nobody writes its row.
"""

import json
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from threading import Lock
from typing import Any

from people.signatures.content import Written

MOST = 200_000  # stations of all plans together: about 200 bytes each


@dataclass(frozen=True, slots=True)
class Little:
    """A plan's digest of its version's content, and by station (id) the settings' fingerprint."""

    content: str
    stations: Mapping[int, bytes]

    def fits(self, station: int, values: object) -> bool:
        """Whether these are the settings that the plan said for the station."""
        return self.stations.get(station) == fingerprint(values)


def fingerprint(values: object) -> bytes:
    """The SHA-256 of settings, whatever the order of their codes."""
    return sha256(json.dumps(values, sort_keys=True).encode()).digest()


def in_little(content: str, planned: Mapping[int, Any]) -> Little:
    """The same plan in little."""
    return Little(content, {station: fingerprint(values) for station, values in planned.items()})


class Memory:
    """The plans looked at last, up to so many stations in all."""

    def __init__(self, most: int = MOST) -> None:
        self.most = most
        self._plans: OrderedDict[Written, Little] = OrderedDict()
        self._lock = Lock()

    def find(self, written: Written) -> Little | None:
        """The plan that stood in this state of its row, if it is remembered."""
        with self._lock:
            found = self._plans.get(written)
            if found:
                self._plans.move_to_end(written)
            return found

    def keep(self, written: Written, plan: Little) -> None:
        """Remember it, and forget those that nobody looked at for longest."""
        with self._lock:
            self._plans[written] = plan
            stations = sum(len(each.stations) for each in self._plans.values())
            while stations > self.most and len(self._plans) > 1:
                stations -= len(self._plans.popitem(last=False)[1].stations)


MEMORY = Memory()
