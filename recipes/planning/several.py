"""A plan that carries several versions: how it is written down for its signer, and read again.

A chain's menu comes to thousands of pairs of station and version. Their settings stand in it as
digests: what was placed can be held against them, and pages that show a slot read little.
"""

import hashlib
from collections.abc import Iterable, Iterator
from typing import Any

from people.signatures.content import Seen
from recipes.planning.content import Said, are_said, settings_digest
from recipes.planning.facts import canonical
from recipes.planning.plan import PLACED, PUBLICATION, AnyLine, station_of
from recipes.planning.served import Named, Varied
from recipes.translation.translating import StationTranslation
from recipes.versions.models import Version
from stations.slots.models import Placement
from web.printing import counted


def slots_digest(lines: Iterable[AnyLine], about: bool = False) -> str:
    """SHA-256 (hex) over a line for each slot: what it holds, what becomes of it, and why.

    With the version each is ``about`` where they differ. One hash, since there may be tens of
    thousands.
    """
    written = "\n".join(_written(line, about) for line in lines)
    return hashlib.sha256(written.encode()).hexdigest()


def _written(line: AnyLine, about: bool) -> str:
    held = line.held.pk if line.held else "-"
    version = f":{line.version.pk if line.version else '-'}" if about else ""
    return f"{line.slot.pk}:{held}:{line.outcome}:{'|'.join(map(canonical, line.facts))}{version}"


def seen_of_station(station: StationTranslation) -> dict[str, Any]:
    """What a plan says of a station: the cup where the recipe leaves the water to it.

    Which variant only where it is one: what was signed before there were any keeps its digest.
    """
    return {
        "values": station.values,
        "flags": [flag.as_json() for flag in station.flagged],
        "expected": station.expected.as_json() if station.expected else None,
        **({"variant": station.variant} if station.variant else {}),
    }


Key = tuple[int, int]  # a station, a version


def written_down(lines: Iterable[AnyLine]) -> dict[str, Any]:
    """What goes where, as codes and numbers: which version each slot gets, in which settings.

    ``beside`` is what was shown with them, flags and cups, as one digest. ``variants``, where there
    are any, are the machine types (ids) whose variant of a version a station gets.
    """
    lines = list(lines)
    variants: dict[str, dict[str, int]] = {}
    settings: dict[str, dict[str, str]] = {}
    beside: dict[Key, str] = {}
    versions: dict[str, str] = {}
    placed: dict[str, int] = {}
    for slot, version, station in _placed(lines):
        key = (station.station_id, version.pk)
        if key not in beside:
            here = settings.setdefault(str(station.station_id), {})
            here[str(version.pk)] = settings_digest(station.values)
            beside[key] = settings_digest(seen_of_station(station))
            versions[str(version.pk)] = version.content_digest
            if station.variant:
                variants.setdefault(str(station.station_id), {})[str(version.pk)] = station.variant
        placed[str(slot)] = version.pk
    shown = "\n".join(f"{key[0]}:{key[1]}:{beside[key]}" for key in sorted(beside))
    return {
        "versions": versions,
        "settings": settings,
        "placed": placed,
        "beside": hashlib.sha256(shown.encode()).hexdigest(),
        "slots": slots_digest(lines, about=True),
        **({"variants": variants} if variants else {}),
    }


def _placed(lines: Iterable[AnyLine]) -> Iterator[tuple[int, Version, StationTranslation]]:
    for line in lines:
        if line.outcome in PLACED and line.version is not None:
            yield line.slot.pk, line.version, station_of(line)


# Read again.


def said_in(seen: Seen) -> Said:
    """The digest of the settings that it said a slot gets at a station."""
    placed, settings = seen["placed"], seen["settings"]

    def said(slot: int, station: int) -> str | None:
        version = placed.get(str(slot))
        found: str | None = settings.get(str(station), {}).get(str(version))
        return found

    return said


def varied_in(seen: Seen) -> Varied:
    """The machine type whose variant of its version it said a slot gets at a station."""
    placed, variants = seen["placed"], seen.get("variants", {})

    def varied(slot: int, station: int) -> int | None:
        found: int | None = variants.get(str(station), {}).get(str(placed.get(str(slot))))
        return found

    return varied


def named_in(seen: Seen) -> Named:
    """The digest of the version that it said a slot gets."""
    placed, versions = seen["placed"], seen["versions"]

    def named(slot: int) -> str | None:
        # Never None: a slot that it said nothing of holds no version that was signed with it.
        return str(versions.get(str(placed.get(str(slot))), ""))

    return named


def slots_moved_in(publication_id: int, seen: Seen) -> Iterator[str]:
    """Whether slots were given another version, other settings, or nothing of what it said."""
    said, named, varied, met = said_in(seen), named_in(seen), varied_in(seen), set()
    other: set[int] = set()
    rows = Placement.objects.filter(
        basis=PUBLICATION.basis, basis_id=publication_id,
        # What was translated anew before its moment was signed with that measurement.
        signature__meaning=PUBLICATION.meaning,
    ).values_list(
        "slot_id", "slot__station_id", "settings__values", "settings__content_digest",
        "settings__variant_id",
    )  # fmt: skip
    for slot, station, values, content, variant in rows.iterator():
        met.add(str(slot))
        moved = (content, variant) != (named(slot), varied(slot, station))
        if moved or not are_said(values, said(slot, station)):
            other.add(slot)
    if other:
        yield f"settings of {counted(len(other), 'slot')}"
    if met != set(seen["placed"]):
        yield "which slots got something"
