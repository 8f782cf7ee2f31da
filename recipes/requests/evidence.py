"""Evidence by tap: what was measured, charted or tasted, and is pointed to by a request."""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Self, TypeVar

from django.db.models import Q, QuerySet

from audit.errors import Invalid
from people.persons.models import User
from recipes.requests.models import ChangeRequest, RequestEvidence
from recipes.versions.models import Version
from stations.charts.keeping import signalling
from stations.charts.models import KeptChart
from stations.equipment.models import Site, Slot
from stations.shots.models import CheckShot
from stations.slots.models import Placement, ReadBack
from web.newest import newest_of_each
from web.printing import SPACE, counted, moment, number, quantity

Rows = TypeVar("Rows", bound=QuerySet[Any])
MOST = 12  # of each kind, to one request
RECENT = 6  # of each kind, offered as ticks


@dataclass(frozen=True, slots=True)
class Attached:
    """The ids of what is attached."""

    shots: frozenset[int] = frozenset()
    read_backs: frozenset[int] = frozenset()
    charts: frozenset[int] = frozenset()
    tastings: frozenset[int] = frozenset()

    @classmethod
    def of(cls, shots: Iterable[int] = (), read_backs: Iterable[int] = (),
           charts: Iterable[int] = (), tastings: Iterable[int] = ()) -> Self:  # fmt: skip
        """From any ids."""
        return cls(*map(frozenset, (shots, read_backs, charts, tastings)))

    def ids(self, name: str) -> frozenset[int]:
        """Those of one kind."""
        found: frozenset[int] = getattr(self, name)
        return found

    def __or__(self, other: "Attached") -> "Attached":
        return Attached(*(self.ids(name) | other.ids(name) for name in NAMES))


NAMES = ("shots", "read_backs", "charts", "tastings")


@dataclass(frozen=True, slots=True)
class About:
    """What a request is about: the version, the site that asks, and the slot one comes from."""

    base: Version
    site: Site
    slot: Slot | None = None


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of evidence: `name` as forms and endpoints say it, `field` as it is stored.

    ``covered`` is all that somebody may see, ``of_site`` what a site can attach, ``near`` that of
    it which a request is about, the newest first; ``recipes`` are those it says something of.
    """

    name: str
    field: str
    label: str
    covered: Callable[[User], QuerySet[Any]]
    of_site: Callable[[int], QuerySet[Any]]
    near: Callable[[QuerySet[Any], About], QuerySet[Any]]
    words: Callable[[Any], str]
    related: tuple[str, ...]  # what a list of it prints, from itself on
    recipes: Callable[[Any], Collection[int]] = lambda _: ()  # where it has no slot to ask


KINDS: dict[str, Kind] = {}


def register_kind(kind: Kind) -> None:
    """Say what can be attached. Called once, when the program starts."""
    KINDS[kind.name] = kind


def held_by(request: ChangeRequest) -> Attached:
    """What is attached now."""
    rows = list(request.attached.all())
    return Attached.of(**{
        kind.name: [pk for row in rows if (pk := getattr(row, f"{kind.field}_id"))]
        for kind in KINDS.values()
    })  # fmt: skip


def attach(request: ChangeRequest, wanted: Attached | None) -> None:
    """Attach exactly these; None leaves what there is. Raises Invalid naming the kind."""
    if wanted is None:
        return
    now = held_by(request)
    for kind in KINDS.values():
        held, asked = now.ids(kind.name), wanted.ids(kind.name)
        _of_the_site(request, kind, asked)
        if gone := held - asked:
            request.attached.filter(**{f"{kind.field}__in": gone}).delete()
        RequestEvidence.objects.bulk_create(
            RequestEvidence(request=request, **{f"{kind.field}_id": pk})
            for pk in sorted(asked - held)
        )


def _of_the_site(request: ChangeRequest, kind: Kind, wanted: frozenset[int]) -> None:
    if not wanted:
        return
    rows = kind.of_site(request.site_id)
    there = set(rows.filter(pk__in=wanted).values_list("pk", flat=True))
    if missing := wanted - there:
        raise Invalid(kind.name, min(missing), f"one of {request.site}, which asks")
    if len(wanted) > MOST:
        raise Invalid(kind.name, len(wanted), f"at most {MOST}")


# What is offered, and how it reads.


@dataclass(frozen=True, slots=True)
class Offered:
    """All of a kind that can be ticked, and the newest of it, which is offered."""

    kind: Kind
    rows: QuerySet[Any]
    newest: frozenset[int]


Recent = Mapping[str, Offered]
NOTHING: Recent = {}


def recent(about: About) -> Recent:
    """What can be ticked of each kind."""
    offered = {}
    for name, kind in KINDS.items():
        rows = kind.of_site(about.site.pk)
        near = kind.near(rows, about)
        newest = frozenset(near.values_list("pk", flat=True)[:RECENT])
        offered[name] = Offered(kind, rows.select_related(*kind.related), newest)
    return offered


def shown_evidence(request: ChangeRequest) -> list[RequestEvidence]:
    """What is attached, with everything that is printed of it."""
    paths = [f"{kind.field}__{path}" for kind in KINDS.values() for path in kind.related]
    return list(request.attached.select_related(*paths).prefetch_related("tasting__answers"))


def said_of(row: RequestEvidence) -> str:
    """What is attached, in a line."""
    for kind in KINDS.values():
        thing = getattr(row, kind.field)
        if thing is not None:
            return kind.words(thing)
    return ""


def shot_words(shot: CheckShot) -> str:
    """When, what went in and out, and the verdict."""
    said = "corrected, " if shot.corrections else ""
    return (
        f"{moment(shot.at, shot.site.time_zone)}: {_said(shot.dose_mass)} in,"
        f" {_said(shot.beverage_mass)} out, {number(shot.shot_time)} s,"
        f" {said}{shot.get_verdict_display()}"
    )


def _said(mass: Decimal) -> str:
    """Grams, in the unit of whoever reads."""
    return quantity(mass, "g").replace(SPACE, " ")


def read_back_words(read: ReadBack) -> str:
    """When, which slot, and the verdict."""
    zone = read.slot.station.machine.site.time_zone
    return f"{moment(read.at, zone)}: slot {read.slot.number}, {read.get_verdict_display()}"


def chart_words(kept: KeptChart) -> str:
    """When it was kept, of what, and how much of it signals."""
    shots = counted(len(kept.figures["shots"]), "shot")
    return (
        f"{moment(kept.at, kept.site.time_zone)}: {kept.label} of {shots} at"
        f" {kept.station}, {signalling(kept)} with a signal"
    )


def _near_slot(rows: QuerySet[CheckShot], about: About) -> QuerySet[CheckShot]:
    return _newest(rows.filter(left_out=False), about)


def _near_reads(rows: QuerySet[ReadBack], about: About) -> QuerySet[ReadBack]:
    return _newest(rows, about)


def _newest(rows: Rows, about: About) -> Rows:
    """Of the slot it is about, else of what was in force there under the version."""
    if about.slot is not None:
        near = newest_of_each(rows, "slot", Slot.objects.filter(pk=about.slot.pk), RECENT)
    else:
        digest = about.base.content_digest
        held = Placement.objects.filter(site=about.site, settings__content_digest=digest)
        near = newest_of_each(rows, "placement", held, RECENT)
    return near.order_by("-at", "-pk")


def _near_charts(rows: QuerySet[KeptChart], about: About) -> QuerySet[KeptChart]:
    station = Q(station=about.slot.station_id) if about.slot else Q()
    return rows.filter(station, content_digest=about.base.content_digest)


def _recipes_of_chart(kept: KeptChart) -> Collection[int]:
    signed = Version.objects.signed_as([kept.content_digest])
    return list(signed.values_list("recipe", flat=True))


def register() -> None:
    """The kinds that stations measure. Called once, when the program starts."""
    register_kind(Kind(
        "shots", "shot", "Check shots", CheckShot.objects.covered_by,
        lambda site: CheckShot.objects.filter(site=site),
        _near_slot, shot_words, ("site", "by", "placement", "slot__station__machine__site"),
    ))  # fmt: skip
    register_kind(Kind(
        "read_backs", "read_back", "Read-backs",
        lambda user: ReadBack.objects.filter(slot__in=Slot.objects.covered_by(user)),
        lambda site: ReadBack.objects.filter(placement__site=site),
        _near_reads, read_back_words, ("by", "placement", "slot__station__machine__site"),
    ))  # fmt: skip
    register_kind(Kind(
        "charts", "chart", "Kept charts", KeptChart.objects.covered_by,
        lambda site: KeptChart.objects.filter(site=site),
        _near_charts, chart_words, ("site", "by", "station__machine__site"), _recipes_of_chart,
    ))  # fmt: skip
