"""Serving orders of a blind session: balanced, and the same for ever from the same seed.

Places are drawn from SHA-256 of the seed rather than from a random generator, so that a printed
sheet can be checked years later, whatever the version of Python.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256
from itertools import islice

from recipes.brewing.errors import QuantityError, whole
from recipes.brewing.taste import Method

MOST_SERVINGS = 500

# In a duo-trio the first letter is the reference, the other two are what is compared with it.
ORDERS: dict[Method, tuple[str, ...]] = {
    Method.TRIANGLE: ("AAB", "ABA", "BAA", "BBA", "BAB", "ABB"),
    Method.DUO_TRIO: ("AAB", "ABA", "BAB", "BBA"),
    Method.PAIRED_ONE_SIDED: ("AB", "BA"),
    Method.PAIRED_TWO_SIDED: ("AB", "BA"),
}


@dataclass(frozen=True, slots=True)
class Serving:
    """One assessment: its number from 1, the samples in order, and a code on each cup."""

    number: int
    order: str
    codes: tuple[str, ...]

    @property
    def cups(self) -> tuple[tuple[str, str], ...]:
        """Each cup's sample and code, from left to right; the reference's code is ''."""
        bare = ("",) * (len(self.order) - len(self.codes))
        return tuple(zip(self.order, (*bare, *self.codes), strict=True))

    @property
    def key(self) -> str:
        """Code of the right answer: the odd cup, or the one like the reference; '' if none is."""
        if len(self.order) == 2:
            return ""
        if len(self.codes) == 2:  # duo-trio, the reference carries no code
            return self.codes[0 if self.order[1] == self.order[0] else 1]
        odd = min(set(self.order), key=self.order.count)
        return self.codes[self.order.index(odd)]


def servings(method: Method, count: int, seed: str) -> list[Serving]:
    """`count` servings (1 to 500), each order as often as any other, give or take one.

    Every full round of the orders is shuffled by the seed; a last part round takes its first ones.
    Codes are three digits, all different in the session as long as there are enough of them.
    Raises QuantityError naming count or seed (1 to 100 characters).
    """
    total = whole("count", count, least=1, most=MOST_SERVINGS)
    if not isinstance(seed, str) or not 1 <= len(seed) <= 100:
        raise QuantityError("seed", seed, "a text of 1 to 100 characters")
    orders = ORDERS[method]
    rounds = -(-total // len(orders))
    drawn = [order for at in range(rounds) for order in _shuffled(orders, f"{seed}/{at}")]
    cups = 2 if method is Method.DUO_TRIO else len(orders[0])
    codes = _codes(seed, total * cups)
    return [
        Serving(at + 1, drawn[at], tuple(codes[at * cups : (at + 1) * cups])) for at in range(total)
    ]


def _shuffled(items: tuple[str, ...], seed: str) -> list[str]:
    return sorted(items, key=lambda item: sha256(f"{seed}/{item}".encode()).digest())


def _codes(seed: str, wanted: int) -> list[str]:
    """Three-digit codes from 100 to 999, in rounds of all 900."""
    numbers = tuple(str(code) for code in range(100, 1000))
    rounds = (_shuffled(numbers, f"{seed}/codes/{at}") for at in range(-(-wanted // 900)))
    return list(islice((code for one in rounds for code in one), wanted))
