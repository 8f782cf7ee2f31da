"""What was read of signed plans lately, remembered by each process.

A chain's plan is megabytes, and a page shows a few of its slots: to read it anew for every page
would cost more than everything else there. It is remembered for as long as nobody writes the row
that keeps it (``people.signatures.content.written_now``). Kept is only what had the digest that
stands in its state, so whatever became of the row, nothing else than what was signed fits it.
"""

from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock
from typing import Generic, TypeVar

MOST = 300_000  # entries of all plans together: about 200 bytes each

T = TypeVar("T")


class Memory(Generic[T]):
    """The plans looked at last, up to so many entries in all."""

    def __init__(self, most: int = MOST) -> None:
        self.most = most
        self._plans: OrderedDict[Hashable, tuple[T, int]] = OrderedDict()
        self._lock = Lock()

    def find(self, state: Hashable) -> T | None:
        """What was read of a row in this state, if it is remembered."""
        with self._lock:
            if state not in self._plans:
                return None
            self._plans.move_to_end(state)
            return self._plans[state][0]

    def keep(self, state: Hashable, plan: T, size: int) -> None:
        """Remember it, and forget those that nobody looked at for longest."""
        with self._lock:
            self._plans[state] = plan, size
            total = sum(entries for _, entries in self._plans.values())
            while total > self.most and len(self._plans) > 1:
                total -= self._plans.popitem(last=False)[1][1]
