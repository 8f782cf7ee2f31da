"""Whether placements still are what was signed for their slots, asked at the moment of showing.

A signature keeps the exact bytes of the plan that was seen. They must have its digest, the
document must name that digest, and what a slot should hold must be what the plan said of it.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from audit.capture.models import Entry
from people.signatures.content import Kept, Seen, kept_of, written_now
from people.signatures.models import Signature
from recipes.planning.content import Said, are_said
from recipes.planning.plan import PERMIT, PUBLICATION, RE_TRANSLATION, Kind
from recipes.planning.remembered import MEMORY, Little, in_little
from recipes.translation.translating import title_of
from recipes.versions.models import Version
from stations.slots.models import ControlSettings, Placement

Values = Mapping[str, Any]
# Of a slot (id), the digest of the version that a plan said; None where it names none.
Named = Callable[[int], str | None]
# Of a slot (id), the settings and the recipe's digest of what waited for it, translated anew.
Ahead = Callable[[int], tuple[Values | None, str]]


@dataclass(frozen=True)
class Reader:
    """How to read one kind of signed plan.

    ``digests`` gives the plan's digest that each document (id) names, in one query; ``said`` reads
    what was seen; ``content`` the digest of each slot's version, where the plan holds one;
    ``ahead`` what was seen of placements that stay under another document. ``planned`` gives the
    settings by station of a plan that holds one version, which is then remembered in little.
    """

    kind: Kind
    digests: Callable[[Collection[int]], Mapping[int, str]]
    said: Callable[[Seen], Said]
    content: Callable[[Seen], Named] = lambda _: lambda _: None
    ahead: Callable[[Seen], Ahead] = lambda _: lambda _: (None, "")
    planned: Callable[[Seen], Mapping[int, Any]] | None = None


_readers: dict[str, Reader] = {}


def register(reader: Reader) -> None:
    """Called when the program starts, once for each kind of plan."""
    _readers[reader.kind.basis] = reader


@dataclass(frozen=True)
class Evidence:
    """Everything that placements are held against, read at once."""

    kept: Kept
    little: Mapping[int, Little]  # by signature, of those remembered so
    said: Mapping[int, Said]  # by signature
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
    bases = {each.signature_id: _under(each)[0] for each in placements}
    kept, little = _kept(list(signatures.values()), bases)
    said = {
        pk: _readers[bases[pk]].said(seen)
        for pk, seen in kept.seen.items()
        if bases[pk] in _readers and pk not in little
    }
    old = [each for each in placements if each.signature_id in kept.missing]
    new = [each for each in placements if each.signature_id in said or each.signature_id in little]
    return Evidence(
        kept,
        little,
        said,
        _named(placements),
        _titles({each.settings.content_digest for each in new}),
        _written([each.settings for each in old]),
    )


def _kept(
    signatures: Sequence[Signature], bases: Mapping[int | None, str]
) -> tuple[Kept, dict[int, Little]]:
    """What is kept of them, read where it is not remembered; and those in little."""
    states = written_now(signatures)
    little = {pk: known for pk, state in states.items() if (known := MEMORY.find(state))}
    kept = kept_of(each for each in signatures if each.pk not in little)
    for pk, seen in kept.seen.items():
        reader = _readers.get(bases[pk])
        if reader and reader.planned and pk in states:
            little[pk] = in_little(str(reader.content(seen)(0)), reader.planned(seen))
            MEMORY.keep(states[pk], little[pk])
    return kept, little


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
    elif signature.pk in evidence.kept.missing:
        yield from _unlike_entry(settings, evidence.written.get(settings.pk))
    elif signature.pk not in evidence.said and signature.pk not in evidence.little:
        yield "what is kept of the signature"
    else:
        yield from _unlike_plan(placement, evidence)


def _unlike_plan(placement: Placement, evidence: Evidence) -> Iterator[str]:
    settings, signed = placement.settings, int(placement.signature_id or 0)
    little = evidence.little.get(signed)
    content: str | None
    if little:
        same, content = little.fits(settings.station_id, settings.values), little.content
    else:
        same, content = _as_said(placement, evidence)
    if not same:
        yield "the settings"
    if content is not None and content != settings.content_digest:
        yield "the recipe they are of"
    mark = f" · permit {placement.basis_id}" if placement.basis == PERMIT.basis else ""
    if f"{evidence.titles.get(settings.content_digest)}{mark}" != settings.title:
        yield "their title"


def _as_said(placement: Placement, evidence: Evidence) -> tuple[bool, str | None]:
    """Whether its settings are what was seen, and the digest of the recipe that was seen."""
    settings, signed = placement.settings, int(placement.signature_id or 0)
    reader, seen = _readers[_under(placement)[0]], evidence.kept.seen[signed]
    said: Values | str | None = evidence.said[signed](placement.slot_id, settings.station_id)
    content = reader.content(seen)(placement.slot_id)
    if _renewed_ahead(placement):
        said, content = reader.ahead(seen)(placement.slot_id)
    return are_said(settings.values, said), content


def _unlike_entry(settings: ControlSettings, written: Values | None) -> Iterator[str]:
    if written is None:
        yield "what was signed, of which nothing is kept"
    elif any(getattr(settings, name) != written.get(name, "") for name in ENTERED):
        yield "the settings"


ENTERED = ("values", "title", "content_digest", "station_id")
