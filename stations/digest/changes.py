"""What changed at a site within a week: a fixed number of queries, whatever happened."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, Min, Q, QuerySet
from django.urls import reverse

from people.notices.models import Matter
from stations.calibrations.models import Calibration
from stations.causes.models import CauseFinding
from stations.causes.showing import sentence
from stations.digest.weeks import Week
from stations.equipment.models import Site
from stations.equipment.replaced import Replacement
from stations.gateways.differences import Difference
from stations.gateways.models import Gateway
from stations.grinders.models import BREAKS, GrinderEvent
from stations.shots.models import CheckShot
from stations.slots.bases import basis_of
from stations.slots.models import Placement
from web.printing import moment, numbered

MOST = 50  # lines of a section


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that changed: when, in words, and its page."""

    at: datetime
    words: str
    url: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """Lines of one kind, by their moments; ``more``: there are others, which are not listed."""

    code: str
    title: str
    lines: list[Line]
    more: bool = False


@dataclass(frozen=True, slots=True)
class Digest:
    """A week of a site: what changed, and how its shots fared."""

    site: Site
    week: Week
    shots: int
    outside: int
    sections: list[Section]

    @property
    def empty(self) -> bool:
        """Whether nothing changed."""
        return not any(section.lines for section in self.sections)


def digest_of(site: Site, week: Week) -> Digest:
    """What changed at a site in that week."""
    shots = CheckShot.objects.counted().filter(site=site, at__gte=week.begin, at__lt=week.end)
    counts = shots.aggregate(all=Count("pk"), outside=Count("pk", filter=Q(verdict="outside")))
    return Digest(site, week, counts["all"], counts["outside"], [
        _section("placed", "Placed recipes", _placed(site, week)),
        _section("causes", "Causes of drift", _causes(site, week)),
        _section("drifts", "Cups that drift", _matters(site, week, "drift")),
        _section("differences", "Slots found to differ", _differences(site, week)),
        _section("gateways", "Gateways", _gateways(site, week)),
        _section("equipment", "Calibrations and parts", _equipment(site, week)),
    ])  # fmt: skip


def _section(code: str, title: str, lines: Iterable[Line]) -> Section:
    found = sorted(lines, key=lambda line: line.at)
    return Section(code, title, found[:MOST], more=len(found) > MOST)


def _within(rows: QuerySet[Any], week: Week, field: str) -> QuerySet[Any]:
    span = {f"{field}__gte": week.begin, f"{field}__lt": week.end}
    return rows.filter(**span).order_by(field, "pk")[: MOST + 1]


def _placed(site: Site, week: Week) -> Iterable[Line]:
    rows = Placement.objects.filter(
        site=site, started_at__gte=week.begin, started_at__lt=week.end
    ).order_by()
    same = rows.values("settings__title", "basis", "basis_id", "manner")
    for row in same.annotate(slots=Count("slot", distinct=True), first=Min("started_at")).order_by(
        "first"
    )[: MOST + 1]:
        under = basis_of(
            Placement(basis=row["basis"], basis_id=row["basis_id"], manner=row["manner"])
        )
        many = f"{row['slots']} slot{'' if row['slots'] == 1 else 's'}"
        words = f"{row['settings__title']} into {many} ({under.label})"
        yield Line(row["first"], words, under.url(row["basis_id"]))


def _causes(site: Site, week: Week) -> Iterable[Line]:
    rows = CauseFinding.objects.filter(site=site).with_place()
    for one in _within(rows, week, "found_at"):
        words = f"Found: {one.where}: {sentence(one)}"
        yield Line(one.found_at, words, one.get_absolute_url())
    for one in _within(rows, week, "cleared_at"):
        by = one.get_evidence_display()
        words = f"Cleared: {one.where}: {one.get_cause_display()}, by {by}"
        yield Line(one.cleared_at, words, one.get_absolute_url())


def _matters(site: Site, week: Week, kind: str) -> Iterable[Line]:
    """What people could hear of, begun and over; kept for half a year."""
    rows = Matter.objects.filter(kind=kind, sites__contains=[site.pk])
    for one in _within(rows, week, "arose_at"):
        yield Line(one.arose_at, f"Begun: {one.title}", one.url)
    for one in _within(rows, week, "ended_at"):
        yield Line(one.ended_at, f"Over: {one.title}", one.url)


def _differences(site: Site, week: Week) -> Iterable[Line]:
    rows = Difference.objects.filter(site=site).select_related("slot__station__machine__site")
    for one in _within(rows, week, "bad_at"):
        over = f", over {moment(one.over_at, site.time_zone)}" if one.over_at else ", lasts"
        times = f", restored {_times(one.restores)}" if one.restores else ""
        left = ", left to a person" if one.stopped_at else ""
        url = reverse("stations:slot", args=[one.slot_id])
        yield Line(one.bad_at, f"{one.slot}{times}{left}{over}", url)


def _times(many: int) -> str:
    return "once" if many == 1 else f"{many} times"


def _gateways(site: Site, week: Week) -> Iterable[Line]:
    yield from _matters(site, week, "gateway_silent")
    url = reverse("stations:gateways", args=[site.pk])
    for one in Gateway.objects.filter(site=site).order_by("pk"):
        for word, at in (("enrolled", one.enrolled_at), ("revoked", one.revoked_at)):
            if at and week.begin <= at < week.end:
                yield Line(at, f"The gateway “{one.name}” was {word}", url)


def _equipment(site: Site, week: Week) -> Iterable[Line]:
    accepted = Calibration.objects.filter(station__machine__site=site, state="accepted")
    for one in _within(accepted.select_related("station__machine"), week, "decided_at"):
        where = f"{one.station.machine}, {numbered('station', [one.station.number])}"
        words = f"{where}: calibration of the {one.get_kind_display()} accepted"
        yield Line(one.decided_at, words, one.get_absolute_url())
    replaced = Replacement.objects.filter(site=site).select_related("machine", "station__machine")
    for part in _within(replaced, week, "at"):
        place = part.station or part.machine or site
        yield Line(part.at, f"{place}: {part}", part.get_absolute_url())
    burrs = GrinderEvent.objects.filter(grinder__site=site, kind__in=BREAKS)
    for event in _within(burrs.select_related("grinder"), week, "at"):
        words = f"{event.grinder}: {event.get_kind_display()}"
        yield Line(event.at, words, event.get_absolute_url())
