"""The ways of tampering, each registered under the words with which the threat model names it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from tests.audit.soak.hands import Hands, Who

Do = Callable[[Hands], None]
EVERYBODY = tuple(Who)
MIGHTY = (Who.OWNER, Who.SUPERUSER)


@dataclass(frozen=True)
class Way:
    """What is done, by whom, without or with the signing key."""

    words: str
    do: Do
    who: tuple[Who, ...]
    keys: tuple[str, ...]

    def hands(self) -> Iterator[tuple[Who, str]]:
        """Every pair."""
        return ((who, key) for who in self.who for key in self.keys)


WAYS: list[Way] = []


def way(
    words: str, *, who: tuple[Who, ...] = EVERYBODY, keys: tuple[str, ...] = ("without",)
) -> Callable[[Do], Do]:
    """Register one."""

    def registered(do: Do) -> Do:
        WAYS.append(Way(words, do, who, keys))
        return do

    return registered
