"""Asks every check of one driver and one slot, and puts the slot back as it was."""

from collections.abc import Iterator

from gateway.driver import Driver, Place
from gateway.testkit.checks import CHECKS, Subject, loadable


class NoSuchSlotError(Exception):
    """The driver describes no such slot."""


def subject_of(driver: Driver, place: Place) -> Subject:
    """The slot with what the driver says of its station. Raises NoSuchSlotError."""
    for station in driver.describe().stations:
        if station.at == place.at and place.number in station.slots:
            return Subject(driver, place, station)
    raise NoSuchSlotError(f"the driver describes no slot {place}")


def check(driver: Driver, place: Place) -> Iterator[tuple[str, list[str]]]:
    """Each check by its name, with what it found; the slot is overwritten meanwhile.

    A driver that raises where it must not is found, not let through.
    """
    subject = subject_of(driver, place)
    before = driver.read_back(place)
    try:
        for name, ask in CHECKS.items():
            found: list[str] = []
            try:
                found += ask(subject)
            except Exception as problem:
                found.append(f"raised {type(problem).__name__}: {problem}")
            yield name, found
    finally:
        if loadable(before):
            driver.load(place, before)


def place_of(text: str) -> Place:
    """A slot as it is typed: machine/station/slot. Raises ValueError."""
    machine, station, number = text.rsplit("/", 2)
    return Place(machine, int(station), int(number))
