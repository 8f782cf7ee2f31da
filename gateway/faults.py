"""What is wrong, told once when it begins and again only after it had ended."""

from gateway.clock import Clock
from gateway.driver import Station
from gateway.outbox import Outbox

MOST_WORDS = 300  # characters


class Faults:
    """Faults that last are kept by name, so that a restart does not tell them again."""

    def __init__(self, outbox: Outbox, clock: Clock) -> None:
        self.outbox, self.clock, self.store = outbox, clock, outbox.store

    def begin(self, at: Station | None, code: str, words: str, number: int = 0) -> None:
        """Tell a fault of a station, or of the whole gateway, unless these words were told."""
        name = f"{at}:{number}:{code}"
        known = self.store.rows("SELECT words FROM fault WHERE name = ?", name)
        if known and known[0]["words"] == words:
            return
        with self.store.writing():
            self.store.run("INSERT OR REPLACE INTO fault (name, words) VALUES (?, ?)", name, words)
            self.happened(at, code, words)

    def end(self, at: Station | None, code: str, number: int = 0) -> None:
        """It is over; the next one is told."""
        name = f"{at}:{number}:{code}"
        if self.store.rows("SELECT 1 FROM fault WHERE name = ?", name):
            self.store.run("DELETE FROM fault WHERE name = ?", name)

    def happened(self, at: Station | None, code: str, words: str) -> None:
        """Tell something that was wrong for a moment."""
        where = {"machine": at.machine, "station": at.station} if at else {}
        data = {**where, "code": code, "words": words[:MOST_WORDS]}
        self.outbox.put("fault.v1", data, self.clock.now())
