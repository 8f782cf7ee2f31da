"""How often things are done, and how long to wait after one that failed."""

import random
from dataclasses import dataclass, fields
from typing import Self


@dataclass(frozen=True)
class Pace:
    """Seconds between two of each."""

    poll: float = 15.0  # what slots should hold; the server may say otherwise
    whole: float = 3600.0  # everything that slots should hold, whatever changed
    heartbeat: float = 60.0
    send: float = 1.0
    round: float = 2.0  # over the stations: who answers, what to load
    read_back: float = 60.0  # of each slot
    tell: float = 300.0  # of a slot that was found unchanged
    retry: float = 30.0  # of what a machine did not take

    def faster(self, times: float) -> Self:
        """The same, so many times as fast: for simulations and tests."""
        return type(self)(*(getattr(self, each.name) / times for each in fields(self)))


class BackOff:
    """Waits that double after each failure, from ``first`` to ``longest`` seconds, with jitter.

    Jitter: each is drawn from the upper half, so that a thousand gateways do not come back at once.
    """

    def __init__(
        self, first: float = 1.0, longest: float = 300.0, chance: random.Random | None = None
    ) -> None:
        self.first, self.longest = first, longest
        self.chance = chance or random.Random()  # noqa: S311 - spreads load, keeps no secret
        self.failures = 0

    def failed(self, at_least: float = 0.0) -> float:
        """How long to wait now; not less than the server asked for, an hour at most."""
        longest = min(self.longest, self.first * 2.0 ** min(self.failures, 30))
        self.failures += 1
        return max(self.chance.uniform(longest / 2, longest), min(at_least, 3600.0))

    def succeeded(self) -> None:
        """Begin again with the shortest."""
        self.failures = 0
