"""Evidence by tap: check shots and read-backs that a request points to."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Self

from django.db.models import QuerySet

from audit.errors import Invalid
from people.persons.models import User
from recipes.requests.models import ChangeRequest, RequestEvidence
from stations.equipment.models import Slot
from stations.shots.models import CheckShot
from stations.slots.models import ReadBack
from web.printing import SPACE, moment, number, quantity

MOST = 12  # of each kind, to one request
RECENT = 6  # of each kind, offered as ticks


@dataclass(frozen=True, slots=True)
class Attached:
    """The ids of what is attached."""

    shots: frozenset[int] = frozenset()
    read_backs: frozenset[int] = frozenset()

    @classmethod
    def of(cls, shots: Iterable[int] = (), read_backs: Iterable[int] = ()) -> Self:
        """From any ids."""
        return cls(frozenset(shots), frozenset(read_backs))

    def __or__(self, other: "Attached") -> "Attached":
        return Attached(self.shots | other.shots, self.read_backs | other.read_backs)


def held_by(request: ChangeRequest) -> Attached:
    """What is attached now."""
    rows = list(request.attached.all())
    return Attached.of(
        [each.shot_id for each in rows if each.shot_id],
        [each.read_back_id for each in rows if each.read_back_id],
    )


def attach(request: ChangeRequest, wanted: Attached | None) -> None:
    """Attach exactly these; None leaves what there is. Raises Invalid (shots, read_backs)."""
    if wanted is None:
        return
    _of_the_site(request, "shots", wanted.shots, CheckShot.objects.filter(site=request.site_id))
    reads = ReadBack.objects.filter(placement__site=request.site_id)
    _of_the_site(request, "read_backs", wanted.read_backs, reads)
    now = held_by(request)
    request.attached.filter(shot__in=now.shots - wanted.shots).delete()
    request.attached.filter(read_back__in=now.read_backs - wanted.read_backs).delete()
    RequestEvidence.objects.bulk_create(
        [RequestEvidence(request=request, shot_id=pk) for pk in sorted(wanted.shots - now.shots)]
        + [
            RequestEvidence(request=request, read_back_id=pk)
            for pk in sorted(wanted.read_backs - now.read_backs)
        ]
    )


def _of_the_site(
    request: ChangeRequest,
    field: str,
    wanted: frozenset[int],
    rows: QuerySet[CheckShot] | QuerySet[ReadBack],
) -> None:
    there = set(rows.filter(pk__in=wanted).values_list("pk", flat=True))
    if missing := wanted - there:
        raise Invalid(field, min(missing), f"one of {request.site}, which asks")
    if len(wanted) > MOST:
        raise Invalid(field, len(wanted), f"at most {MOST}")


# What is offered, and how it reads.


@dataclass(frozen=True, slots=True)
class Recent:
    """All that can be ticked, and the newest of it, which is offered."""

    shots: QuerySet[CheckShot]
    read_backs: QuerySet[ReadBack]
    newest: Attached

    @classmethod
    def none(cls) -> Self:
        """Nothing: the slot is not known."""
        return cls(CheckShot.objects.none(), ReadBack.objects.none(), Attached())


def recent_at(user: User, slot: Slot) -> Recent:
    """What was measured at a slot."""
    shots = CheckShot.objects.covered_by(user).filter(slot=slot)
    reads = ReadBack.objects.filter(slot=slot)
    return Recent(shots.with_place(), _with_place(reads), _newest(shots, reads))


def recent_of(request: ChangeRequest) -> Recent:
    """What was measured at its site; the newest is that of the version it is about."""
    digest = request.base.content_digest
    shots = CheckShot.objects.filter(site=request.site_id)
    reads = ReadBack.objects.filter(placement__site=request.site_id)
    newest = _newest(
        shots.of_content(digest), reads.filter(placement__settings__content_digest=digest)
    )
    return Recent(shots.with_place(), _with_place(reads), newest)


def _newest(shots: QuerySet[CheckShot], reads: QuerySet[ReadBack]) -> Attached:
    counted = shots.filter(left_out=False)
    return Attached.of(*(
        rows.order_by("-pk").values_list("pk", flat=True)[:RECENT] for rows in (counted, reads)
    ))  # fmt: skip


def _with_place(reads: QuerySet[ReadBack]) -> QuerySet[ReadBack]:
    return reads.select_related("slot__station__machine__site")


def shown_evidence(request: ChangeRequest) -> list[RequestEvidence]:
    """What is attached, with everything that is printed of it."""
    rows = request.attached.select_related(
        "shot__site", "shot__by", "shot__slot__station__machine__site", "read_back__by",
        "read_back__slot__station__machine__site",
    )  # fmt: skip
    return list(rows)


def words_of(thing: CheckShot | ReadBack) -> str:
    """Either, in a line."""
    return shot_words(thing) if isinstance(thing, CheckShot) else read_back_words(thing)


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
