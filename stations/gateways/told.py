"""An event on its way through what follows from it."""

from dataclasses import dataclass, field
from datetime import datetime

from audit.errors import Problem
from stations.gateways.batches import Event


@dataclass(slots=True)
class Told:
    """An event, its moment by our clock, and what became of it."""

    event: Event
    at: datetime
    found: list[Problem] = field(default_factory=list)  # that its data did not tell
    shot: int | None = None  # the check shot made of it

    @property
    def sequence(self) -> int:
        """Its place in the gateway's outbox."""
        return self.event.sequence

    @property
    def problems(self) -> list[Problem]:
        """Everything that is wrong with it."""
        return [*self.event.problems, *self.found]
