"""Publications: the plan as it was seen, beside what is stored of it."""

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from audit.registry import ContentShown, SignatureShown
from people.signatures.content import Seen, as_seen, content_shown, scheme_of
from recipes.planning.content import Said, document_moved, settings_digest, settings_written
from recipes.planning.plan import PUBLICATION
from recipes.planning.served import Named, Reader, Varied
from recipes.planning.several import named_in, said_in, slots_moved_in, varied_in
from recipes.publishing.models import Publication
from recipes.versions.digest import content_digest
from recipes.versions.models import Version
from web.printing import counted


def publication_content(signed: SignatureShown) -> ContentShown:
    """Of a publication's plan."""
    made = Publication.objects.filter(pk=signed.about_id).first()
    if made is None:
        return content_shown(["the publication is gone"])
    return as_seen(signed, lambda seen: _moved(made, seen, signed.digest))


def _moved(made: Publication, seen: Seen, digest: str) -> Iterator[str]:
    yield from document_moved(made, seen, digest)
    several = "placed" in seen
    yield from (_menu_moved if several else _version_moved)(made, seen)
    if made.scope != seen["scope"]:
        yield "the slots it is for"
    day, time = made.local_date, made.local_time
    moment = (day.isoformat() if day else None, time.isoformat() if time else None)
    if moment != (seen["date"], seen["time"]):
        yield "the moment"
    if made.lot_id != seen.get("lot"):
        yield "the lot it waits for"
    yield from (slots_moved_in if several else _stations_moved)(made.pk, seen)


def _version_moved(made: Publication, seen: Seen) -> Iterator[str]:
    rows = Version.objects.with_recipe().with_formula().filter(pk=seen["version"])
    version = rows.first()
    if version is None or made.version_id != version.pk:
        yield "the version"
    elif content_digest(version) != seen["content"]:
        yield "the version's content"


def _menu_moved(made: Publication, seen: Seen) -> Iterator[str]:
    """Of a menu's version: what stands on its slot numbers, and each recipe's content."""
    menu = made.menu_version
    if menu is None or menu.pk != seen["menu"]:
        yield "the menu"
        return
    drinks = {str(each.slot_number): each.version_id for each in menu.drinks.all()}
    if (menu.content_digest, drinks) != (seen["content"], seen["drinks"]):
        yield "what the menu says"
    rows = Version.objects.with_recipe().with_formula().filter(pk__in=seen["versions"])
    if {str(each.pk): content_digest(each) for each in rows} != seen["versions"]:
        yield "the content of its versions"


def _stations_moved(publication_id: int, seen: Seen) -> Iterator[str]:
    planned, varied = _planned(seen), _varied(seen)
    placed = settings_written(PUBLICATION, publication_id, planned)
    other = {
        pk for pk, values, variant in placed if (values, variant) != (planned[pk], varied(0, pk))
    }
    if other:
        yield f"settings of {counted(len(other), 'station')}"


def _planned(seen: Seen) -> dict[int, Any]:
    """The settings of each station (id)."""
    old = scheme_of(seen) == 1
    return {
        int(pk): station[0] if old else station["values"]
        for pk, station in seen["stations"].items()
    }


def _said(seen: Seen) -> Said:
    """As digests: little to remember of a chain's plan."""
    if "placed" in seen:
        return said_in(seen)
    planned = _planned(seen)
    digests = {pk: settings_digest(values) for pk, values in planned.items() if values is not None}
    return lambda _, station: digests.get(station)


def _varied(seen: Seen) -> Varied:
    if "placed" in seen:
        return varied_in(seen)
    # Alone, as in `_named`.
    variants = {
        int(pk): station["variant"]
        for pk, station in seen["stations"].items()
        if isinstance(station, dict) and "variant" in station
    }
    return lambda _, station: variants.get(station)


def _digests(ids: Collection[int]) -> Mapping[int, str]:
    return dict(Publication.objects.filter(pk__in=ids).values_list("pk", "plan_digest"))


def _named(seen: Seen) -> Named:
    if "placed" in seen:
        return named_in(seen)
    content = str(seen["content"])  # alone: what is remembered must not hold the whole plan
    return lambda _: content


READER = Reader(PUBLICATION, _digests, _said, _named, _varied)
