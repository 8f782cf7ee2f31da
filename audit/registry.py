"""What the other apps tell the history about themselves, since it knows none of them.

Each calls these from its AppConfig.ready().
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.db.models import Q

Finder = Callable[[str], Iterable[tuple[int, str]]]
Namer = Callable[[int], str]
Scope = frozenset[int] | None
Touched = Callable[[Sequence[int]], Iterable[tuple[int, str, int]]]


@dataclass(frozen=True, slots=True)
class SubjectKind:
    """A kind of thing entries are about: its word, its page, how to find one and to name it.

    `former` are the types that older entries give it; `beside` says more of many at once where a
    column leads to them, by number: what their number alone does not tell.
    """

    type: str
    word: str
    url_name: str = ""
    find: Finder | None = None
    named: Namer | None = None
    former: tuple[str, ...] = ()
    beside: Callable[[Collection[int]], Mapping[int, str]] | None = None


@dataclass(frozen=True, slots=True)
class SiteShown:
    """A site as the history's pages name it; `zone` is an IANA name."""

    name: str
    zone: str


@dataclass(frozen=True, slots=True)
class SignatureShown:
    """A signature as it must be shown: printed name, role, time, meaning, digest seen."""

    name: str
    role: str
    meaning: str
    at: datetime
    digest: str
    note: str = ""
    manner: str = ""  # by what the signer showed that it was they
    proven: bool | None = None  # whether that still proves itself; None where it can't
    pk: int = 0
    about: str = ""  # the kind of thing that was signed, and its number
    about_id: int = 0


@dataclass(frozen=True, slots=True)
class ContentShown:
    """Whether what was signed still has the digest signed, in words; None where none can tell."""

    same: bool | None
    words: str


@dataclass(frozen=True, slots=True)
class KeyFound:
    """A passkey that is not as its history has it: whose, why in words, the entry that tells."""

    person: int
    name: str
    words: str
    entry: int | None = None


@dataclass(frozen=True, slots=True)
class NameLookup:
    """Things that a filter chooses by name, however many of them there are.

    `fitting(text, scope, most)` gives up to `most` (id, name) with the text in their name: first
    those of exactly that name, then in order of name. `of(ids, scope)` names those that are there.
    """

    fitting: Callable[[str, Scope, int], Sequence[tuple[int, str]]] = lambda *_: ()
    of: Callable[[Collection[int], Scope], Mapping[int, str]] = lambda *_: {}


# A reader expects what the program writes; somebody else may have been at the rows.
GONE = ContentShown(False, "What was signed was altered or removed: it can't be read any more.")
UNKNOWN = ContentShown(None, "Nothing here can work the digest of this content out again.")


@dataclass(frozen=True, slots=True)
class ApprovedTable:
    """A table whose rows are signed: the signature of each that has one, by the rows' numbers.

    `without` says what a row without one is.
    """

    signatures: Callable[[Collection[int]], Mapping[int, int]]
    without: str


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value as it stands, and its unit (UCUM)."""

    value: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Carrier:
    """A table whose rows carry many parameters, so that its entries name none.

    `carries` is the condition on entries of that table; `held`, where the entries themselves don't
    say it, gives what rows hold of a parameter, by the rows' numbers; `begins`: whether an
    entry with these changes is the moment from which on they hold it.
    """

    carries: Callable[[str], Q]
    held: Callable[[Collection[int], str], Mapping[int, Quantity]] | None = None
    begins: Callable[[Mapping[str, Any]], bool] = lambda _: False


@dataclass
class Registry:
    """One for the process."""

    subjects: dict[str, SubjectKind] = field(default_factory=dict)
    sites: Callable[[Collection[int]], Mapping[int, SiteShown]] = lambda _: {}
    site_names: NameLookup = NameLookup()
    people_names: NameLookup = NameLookup()
    devices: Callable[[Collection[int]], Mapping[int, str]] = lambda _: {}
    device_names: NameLookup = NameLookup()
    parameters: Callable[[], Sequence[tuple[str, str]]] = list
    parameter_unit: Callable[[str], str] = lambda _: ""
    signature: Callable[[int], SignatureShown | None] = lambda _: None
    signed: Callable[[Collection[int]], Mapping[int, SignatureShown]] = lambda _: {}
    signatures: Callable[[], Iterable[SignatureShown]] = list
    passkeys: Callable[[], Iterable[KeyFound]] = list
    approvals: dict[str, ApprovedTable] = field(default_factory=dict)
    carriers: dict[str, Carrier] = field(default_factory=dict)
    site_kind: str = "site"  # the type of subject that sites are
    contents: dict[str, Callable[[SignatureShown], ContentShown]] = field(default_factory=dict)
    unit: Callable[[str], str] = str
    carry: Callable[[int, int], str] = lambda _first, _last: ""
    overviews: set[str] = field(default_factory=set)
    touched: dict[str, Touched] = field(default_factory=dict)
    matters: set[str] = field(default_factory=set)
    of_several_sites: set[str] = field(default_factory=set)


registry = Registry()


def register_subject(
    type_: str,
    word: str,
    url_name: str = "",
    find: Finder | None = None,
    named: Namer | None = None,
    *,
    former: tuple[str, ...] = (),
    beside: Callable[[Collection[int]], Mapping[int, str]] | None = None,
) -> None:
    """Name a subject type; its page takes the id; `find` turns a name into (id, label) pairs.

    `named` gives the name of one today; without it the newest entry's own label is shown.
    `former` are names that the type had: entries keep the one they were written with. `beside`
    says more of several by their numbers, such as what a publication is of.
    """
    registry.subjects[type_] = SubjectKind(type_, word, url_name, find, named, former, beside)


def register_matters(*tables: str, of_several_sites: Collection[str] = ()) -> None:
    """Say of which tables those may read the entries who read a part of the history only.

    Rows `of_several_sites` belong to none in the history and may name any of them.
    """
    registry.matters.update(tables)
    registry.of_several_sites.update(of_several_sites)


def kind_of(type_: str) -> SubjectKind | None:
    """The kind that a subject type means, or meant when the entry was written."""
    kinds = registry.subjects
    return kinds.get(type_) or next((k for k in kinds.values() if type_ in k.former), None)


def types_of(type_: str) -> tuple[str, ...]:
    """Every type that entries about this kind of thing may have."""
    kind = kind_of(type_)
    return (kind.type, *kind.former) if kind else (type_,)


def register_units(read: Callable[[str], str]) -> None:
    """How a UCUM code is printed."""
    registry.unit = read


def register_sites(
    read: Callable[[Collection[int]], Mapping[int, SiteShown]], names: NameLookup
) -> None:
    """How to read some sites by id, for names and time zones, and to choose one by its name."""
    registry.sites, registry.site_names = read, names


def register_people(names: NameLookup) -> None:
    """How to choose a person by name, for the filter."""
    registry.people_names = names


def register_devices(
    read: Callable[[Collection[int]], Mapping[int, str]], names: NameLookup
) -> None:
    """What devices are called today, by their number, and how to choose one by its name."""
    registry.devices, registry.device_names = read, names


def register_parameters(
    read: Callable[[], Sequence[tuple[str, str]]], unit: Callable[[str], str]
) -> None:
    """How to read (code, label) of every parameter, and the unit (UCUM) of one."""
    registry.parameters, registry.parameter_unit = read, unit


def register_signature(read: Callable[[Collection[int]], Mapping[int, SignatureShown]]) -> None:
    """How to read signatures by id, many at once."""
    registry.signed = read
    registry.signature = lambda pk: read([pk]).get(pk)


def register_approval(
    table: str, signatures: Callable[[Collection[int]], Mapping[int, int]], without: str
) -> None:
    """How to tell under whose signature the rows of a table stand, and what those without are."""
    registry.approvals[table] = ApprovedTable(signatures, without)


def register_carrying(carry: Callable[[int, int], str]) -> None:
    """How to carry on what entries said before they are archived.

    Given their first and last id, in the transaction that takes them out: its digest.
    """
    registry.carry = carry


def register_overview(view_name: str) -> None:
    """A page over many things, which says where any of them is not as the history has it."""
    registry.overviews.add(view_name)


def register_touched(table: str, find: Touched) -> None:
    """What else is touched where rows of this table are not as the history has them.

    Given ids of rows: (row, subject type, subject id), for the notice on those things' pages.
    """
    registry.touched[table] = find


def register_signatures(read: Callable[[], Iterable[SignatureShown]]) -> None:
    """How to read all signatures, the oldest first."""
    registry.signatures = read


def register_passkeys(read: Callable[[], Iterable[KeyFound]]) -> None:
    """How to find passkeys that are not as their history has them."""
    registry.passkeys = read


def register_carrier(table: str, carrier: Carrier) -> None:
    """How to tell which entries of a table are about a parameter."""
    registry.carriers[table] = carrier


def register_content(about: str, read: Callable[[SignatureShown], ContentShown]) -> None:
    """How to tell whether what was signed of this kind still has the digest signed."""
    registry.contents[about] = read


def content_of(signed: SignatureShown) -> ContentShown:
    """Whether the content still has that digest, worked out now."""
    read = registry.contents.get(signed.about)
    try:
        return read(signed) if read else UNKNOWN
    except (ObjectDoesNotExist, LookupError, ValueError, TypeError):
        return GONE


def whole_of(signed: SignatureShown) -> ContentShown:
    """Whether a signature holds in every part: what was signed, and the passkey that signed it."""
    if signed.proven is False:
        return ContentShown(False, f"{signed.manner}.")
    return content_of(signed)


def subject_name(type_: str, pk: int, otherwise: str) -> str:
    """What the subject is called today, or what its newest entry called it."""
    kind = kind_of(type_)
    return (kind.named(pk) if kind and kind.named else "") or otherwise


def device_name(number: int | None) -> str:
    """What that device is called today, or its number; nothing for none."""
    return registry.devices([number]).get(number, f"device {number}") if number else ""


def subject_word(type_: str) -> str:
    """The word for a subject type; one nobody named shows as it is written."""
    kind = kind_of(type_)
    return kind.word if kind else type_.replace("_", " ").capitalize()
