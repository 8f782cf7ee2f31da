"""One row of the permission matrix, and what its tables are written with."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One address with one method."""

    method: str
    name: str
    may: str
    thing: str = ""  # the key of tests.permissions.world.World that its address names
    sited: bool = False

    @property
    def id(self) -> str:
        """For messages."""
        return f"{self.method} {self.name}"


def pages(may: str, *names: str, thing: str = "", sited: bool = False) -> list[Row]:
    """Pages to look at."""
    return [Row("GET", name, may, thing, sited) for name in names]


def forms(may: str, *names: str, thing: str = "", sited: bool = False) -> list[Row]:
    """Pages with a form: looked at and sent."""
    return [Row(method, name, may, thing, sited) for name in names for method in ("GET", "POST")]


def posts(may: str, *names: str, thing: str = "", sited: bool = False) -> list[Row]:
    """Addresses that only take what is sent."""
    return [Row("POST", name, may, thing, sited) for name in names]


def calls(methods: str, may: str, name: str, thing: str = "", *, sited: bool = False) -> list[Row]:
    """Endpoints."""
    return [Row(method, name, may, thing, sited) for method in methods.split()]
