"""Whether placements still are what was signed for their slots, asked at the moment of showing.

A signature keeps the exact bytes of the plan that was seen. They must have its digest, the
document must name that digest, and what a slot should hold must be what the plan said of it.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from audit.capture.models import Entry
from people.signatures.content import Seen, kept_of, written_now
from people.signatures.models import Signature
from recipes.planning.content import Said, are_said
from recipes.planning.plan import PERMIT, PUBLICATION, RE_TRANSLATION, Kind
from recipes.planning.remembered import Memory
from recipes.translation.translating import title_of
from recipes.versions.models import Version
from stations.slots.models import ControlSettings, Placement

Values = Mapping[str, Any]
# Of a slot (id), the digest of the version that a plan said; None where it names none.
Named = Callable[[int], str | None]
# Of a slot (id) at a station (id), the machine type (id) of the variant that a plan said.
Varied = Callable[[int, int], int | None]
# Of a slot (id), what waited for it, translated anew: settings, the recipe's digest, the variant.
Ahead = Callable[[int], tuple[Values | None, str, int | None]]


@dataclass(frozen=True)
class Reader:
    """How to read one kind of signed plan.

    ``digests`` gives the plan's digest that each document (id) names, in one query; ``said`` reads
    what was seen; ``content`` the digest of each slot's version, where the plan holds one;
    ``variant`` the machine type whose variant each slot gets; ``ahead`` what was seen of
    placements that stay under another document.
    """

    kind: Kind
    digests: Callable[[Collection[int]], Mapping[int, str]]
    said: Callable[[Seen], Said]
    content: Callable[[Seen], Named] = lambda _: lambda _: None
    variant: Callable[[Seen], Varied] = lambda _: lambda _slot, _station: None
    ahead: Callable[[Seen], Ahead] = lambda _: lambda _: (None, "", None)


_readers: dict[str, Reader] = {}


def register(reader: Reader) -> None:
    """Called when the program starts, once for each kind of plan."""
    _readers[reader.kind.basis] = reader


@dataclass(frozen=True, slots=True)
class Read:
    """What was read of one plan that somebody signed."""

    said: Said
    content: Named
    variant: Varied
    ahead: Ahead


MEMORY = Memory[Read]()


@dataclass(frozen=True)
class Evidence:
    """Everything that placements are held against, read at once."""

    missing: frozenset[int]  # signatures of which nothing is kept
    read: Mapping[int, Read]  # by signature
    named: Mapping[tuple[str, int], str]  # the digest that each document names
    titles: Mapping[str, str]  # by the version's digest
    written: Mapping[int, Values]  # what entries say of settings signed before plans were kept


def misfits(placements: Sequence[Placement]) -> dict[int, str]:
    """What does not fit, by placement; a fixed number of queries, however many there are."""
    evidence = _gather(placements)
    found = ((each.pk, ", ".join(_moved(each, evidence))) for each in placements)
    return {pk: why for pk, why in found if why}


def _gather(placements: Sequence[Placement]) -> Evidence:
    signatures = {each.signature_id: each.signature for each in placements if each.signature}
    bases = {each.signature_id: _under(each)[0] for each in placements if each.signature_id}
    read, missing = _read(list(signatures.values()), bases)
    old = [each for each in placements if each.signature_id in missing]
    new = [each for each in placements if each.signature_id in read]
    return Evidence(
        missing,
        read,
        _named(placements),
        _titles({each.settings.content_digest for each in new}),
        _written([each.settings for each in old]),
    )


def _read(
    signatures: Sequence[Signature], bases: Mapping[int, str]
) -> tuple[dict[int, Read], frozenset[int]]:
    """What is kept of them, read where it is not remembered; and those of which nothing is."""
    states = {pk: (bases[pk], state) for pk, state in written_now(signatures).items()}
    read = {pk: plan for pk, state in states.items() if (plan := MEMORY.find(state))}
    kept = kept_of(each for each in signatures if each.pk in states and each.pk not in read)
    for pk, seen in kept.seen.items():
        reader = _readers.get(bases[pk])
        if reader is None:
            continue
        read[pk] = Read(
            reader.said(seen), reader.content(seen), reader.variant(seen), reader.ahead(seen)
        )
        size = sum(len(part) for part in seen.values() if isinstance(part, dict | list))
        MEMORY.keep(states[pk], read[pk], size)
    return read, frozenset(bases.keys() - states.keys()) | kept.missing


def _named(placements: Iterable[Placement]) -> dict[tuple[str, int], str]:
    asked: dict[str, set[int]] = {}
    for each in placements:
        basis, pk = _under(each)
        if pk is not None:
            asked.setdefault(basis, set()).add(pk)
    return {
        (basis, pk): digest
        for basis, ids in asked.items()
        if basis in _readers
        for pk, digest in _readers[basis].digests(ids).items()
    }


def _under(placement: Placement) -> tuple[str, int | None]:
    """What its signature must be of: its basis, or the measurement that translated it anew."""
    signature = placement.signature
    if _renewed_ahead(placement) and signature:
        return RE_TRANSLATION.basis, signature.subject_id
    return placement.basis, placement.basis_id


def _renewed_ahead(placement: Placement) -> bool:
    signature = placement.signature
    return bool(
        signature
        and signature.meaning == RE_TRANSLATION.meaning
        and placement.basis == PUBLICATION.basis
    )


def _titles(digests: Collection[str]) -> dict[str, str]:
    if not digests:
        return {}
    rows = Version.objects.with_recipe().signed_as(digests)
    return {version.content_digest: title_of(version) for version in rows}


def _written(settings: Sequence[ControlSettings]) -> dict[int, Values]:
    """What the history says was written: sealed, so that a change of it is found as well."""
    if not settings:
        return {}
    rows = Entry.objects.filter(
        subject_type="station",
        subject_id__in={each.station_id for each in settings},
        table_name=ControlSettings._meta.db_table,
        operation="created",
        row_id__in={each.pk for each in settings},
    )
    told = rows.order_by("id").values_list("row_id", "changes")
    return {int(pk or 0): {name: each[1] for name, each in given.items()} for pk, given in told}


def _moved(placement: Placement, evidence: Evidence) -> Iterator[str]:
    signature, settings = placement.signature, placement.settings
    if signature is None or placement.slot.station_id != settings.station_id:
        yield "the station they are for"
    elif (signature.subject_type, signature.subject_id) != _under(placement):
        yield "what was signed"
    elif evidence.named.get((signature.subject_type, signature.subject_id)) != signature.digest:
        yield "the plan that was signed"
    elif signature.pk in evidence.missing:
        yield from _unlike_entry(settings, evidence.written.get(settings.pk))
    elif signature.pk not in evidence.read:
        yield "what is kept of the signature"
    else:
        yield from _unlike_plan(placement, evidence)


def _unlike_plan(placement: Placement, evidence: Evidence) -> Iterator[str]:
    settings, signed = placement.settings, int(placement.signature_id or 0)
    read = evidence.read[signed]
    said: Values | str | None = read.said(placement.slot_id, settings.station_id)
    content = read.content(placement.slot_id)
    variant = read.variant(placement.slot_id, settings.station_id)
    if _renewed_ahead(placement):
        said, content, variant = read.ahead(placement.slot_id)
    if not are_said(settings.values, said):
        yield "the settings"
    if content is not None and content != settings.content_digest:
        yield "the recipe they are of"
    if variant != settings.variant_id:
        yield "the variant they are of"
    mark = f" · permit {placement.basis_id}" if placement.basis == PERMIT.basis else ""
    if f"{evidence.titles.get(settings.content_digest)}{mark}" != settings.title:
        yield "their title"


def _unlike_entry(settings: ControlSettings, written: Values | None) -> Iterator[str]:
    if written is None:
        yield "what was signed, of which nothing is kept"
    elif any(getattr(settings, name) != written.get(name, "") for name in ENTERED):
        yield "the settings"
    # Entries from before there were variants name none.
    elif settings.variant_id != written.get("variant_id"):
        yield "the variant they are of"


ENTERED = ("values", "title", "content_digest", "station_id")
