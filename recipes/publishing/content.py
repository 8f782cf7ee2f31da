"""Publications: the plan as it was seen, beside what is stored of it."""

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from django.db.models import F

from audit.registry import ContentShown, SignatureShown
from people.signatures.content import Seen, as_seen, told
from recipes.publishing.models import Publication
from recipes.versions.digest import content_digest
from recipes.versions.models import Version
from stations.slots.models import Placement
from web.printing import counted

# What a signed step wrote for its slots, beside the settings that were seen.

Values = Mapping[str, Any]


def written(basis: str, basis_id: int, stations: Collection[int]) -> Iterator[tuple[int, Values]]:
    """Each different (station, settings) that this step placed at these stations.

    By slot first, which is how placements are indexed.
    """
    rows: Iterator[tuple[int, Values]] = (
        Placement.objects.filter(slot__station__in=stations, basis=basis, basis_id=basis_id)
        .order_by()
        .values_list(F("settings__station_id"), "settings__values")
        .distinct()
        .iterator()
    )
    return rows


def publication_content(signed: SignatureShown) -> ContentShown:
    """Of a publication's plan."""
    made = Publication.objects.filter(pk=signed.about_id).first()
    if made is None:
        return told(["the publication is gone"])
    return as_seen(signed, lambda seen: _moved(made, seen, signed.digest))


def _moved(made: Publication, seen: Seen, digest: str) -> Iterator[str]:
    version = Version.objects.with_recipe().with_formula().get(pk=made.version_id)
    if made.plan_digest != digest:
        yield "the plan it names"
    if made.version_id != seen["version"]:
        yield "the version"
    elif content_digest(version) != seen["content"]:
        yield "the version's content"
    if made.scope != seen["scope"]:
        yield "the slots it is for"
    day, time = made.local_date, made.local_time
    moment = (day.isoformat() if day else None, time.isoformat() if time else None)
    if moment != (seen["date"], seen["time"]):
        yield "the moment"
    planned = {int(pk): station[0] for pk, station in seen["stations"].items()}
    placed = written(Placement.Basis.PUBLICATION, made.pk, planned)
    other = {pk for pk, values in placed if values != planned[pk]}
    if other:
        yield f"settings of {counted(len(other), 'station')}"
