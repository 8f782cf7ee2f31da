"""The environment as the settings read it: an empty variable is one that is not set."""

import os
from collections.abc import Iterator, Mapping

import environ


class _Given(Mapping[str, str]):
    """What is set now. Compose hands unset variables on as empty ones.

    Dollars are escaped, and django-environ takes that away again: by itself it takes a value that
    begins with one for the name of another variable, and a password may begin with anything.
    """

    def __getitem__(self, name: str) -> str:
        if not (value := os.environ.get(name)):
            raise KeyError(name)
        return value.replace("$", r"\$")

    def __iter__(self) -> Iterator[str]:
        return (name for name, value in os.environ.items() if value)

    def __len__(self) -> int:
        return sum(1 for _ in self)


class Environment(environ.Env):  # type: ignore[misc]  # ships no types
    """Typed values of variables: `env.int("LEDGER_LATE", default=60)`."""

    ENVIRON = _Given()

    def __init__(self) -> None:
        super().__init__()
        self.escape_proxy = True


env = Environment()
