"""What whoever signs a plan accepts by name: flags as facts, each with the sites it is about."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from recipes.planning.facts import canonical, stored_flag_words, words
from recipes.translation.translating import StationTranslation
from stations.metrology.translation import Flag
from web.printing import counted

NAMED = 12  # sites, before the rest is counted
Names = Mapping[int, str]


class Accepted(NamedTuple):
    """One flag and the ids of the sites where it is accepted."""

    flag: Flag
    sites: tuple[int, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain data, as a digest binds it and the signed plan keeps it."""
        return {**self.flag.as_json(), "sites": list(self.sites)}


def to_accept(stations: Iterable[StationTranslation]) -> list[Accepted]:
    """The flags of these stations that need a name, each once, in an order of their own."""
    places: dict[Flag, set[int]] = {}
    for station in stations:
        for flag in station.flagged:
            if flag.needs_acknowledgement:
                places.setdefault(flag, set()).add(station.site_id)
    return [Accepted(flag, tuple(sorted(places[flag]))) for flag in sorted(places, key=canonical)]


def sentences(accepted: Iterable[Accepted], names: Names) -> list[str]:
    """What is accepted at these sites, in words; of others nothing is said."""
    return _headed(((words(each.flag), each.sites) for each in accepted), names)


def stored_sentences(kept: Sequence[Mapping[str, Any]], names: Names) -> list[str]:
    """The same of what a signed plan keeps; of a kind that is known no more, its name."""
    return _headed(((stored_flag_words(each), each["sites"]) for each in kept), names)


def _headed(flags: Iterable[tuple[str, Iterable[int]]], names: Names) -> list[str]:
    places = ((text, sorted(names[pk] for pk in sites if pk in names)) for text, sites in flags)
    return sorted(f"{_named(here)}: {text}" for text, here in places if here)


def _named(names: Sequence[str]) -> str:
    """Sites by name, as long as somebody would read them."""
    more = f" and {counted(len(names) - NAMED, 'more site')}" if len(names) > NAMED else ""
    return ", ".join(names[:NAMED]) + more


def accepted_in_words(text: str, names: Iterable[str], *, whole: bool) -> list[str]:
    """What was accepted when it was kept in words, each line headed by the names of its sites.

    Whoever covers a part of them reads the lines that are about that part alone.
    """
    lines = text.splitlines()
    if whole:
        return lines
    mine = sorted(names, key=len, reverse=True)
    return [line for line in lines if _about(line, mine)]


def _about(line: str, names: Sequence[str]) -> bool:
    rest = line
    while True:
        found = next((name for name in names if rest.startswith((f"{name}: ", f"{name}, "))), None)
        if found is None:
            return False
        if rest[len(found)] == ":":
            return True
        rest = rest[len(found) + 2 :]
