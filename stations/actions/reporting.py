"""Many read-backs of one site at once, as a gateway reports them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from audit.context import recorded
from audit.errors import Problem
from audit.subject import Subject
from people.models import User
from people.permissions import require
from stations import history
from stations.actions.reading import reading_verb
from stations.models import Placement, ReadBack, Site
from stations.verdicts import compare, overall, read_found

STALE = "This is not in force in that slot any more, or never was: fetch the settings again."


@dataclass(frozen=True, slots=True)
class Reading:
    """What one slot was found to hold, compared with the placement that was fetched for it."""

    slot: int
    placement: int
    found: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Reported:
    """How one reading fared: its verdicts, or why it was not taken."""

    reading: Reading
    verdict: str = ""
    verdicts: Mapping[str, str] | None = None
    stale: str = ""
    problems: Sequence[Problem] = ()

    @property
    def taken(self) -> bool:
        """Whether it was written."""
        return bool(self.verdict)


def report_read_backs(*, site: Site, readings: Sequence[Reading], by: User) -> list[Reported]:
    """Write down every reading that can be used; the others are told apart, in the same order.

    One bad reading keeps none of the others back: a gateway goes on when one slot has changed.
    Raises NotPermitted.
    """
    subject = Subject("site", site.pk, site.name)
    with recorded(by=by, action=history.SLOT_READ_BACK, subject=subject, site_id=site.pk):
        require(by, reading_verb(), site.pk, subject)
        placements = _lock(site, readings)
        reported = [_judge(reading, placements) for reading in readings]
        _write(by, [report for report in reported if report.taken])
    return reported


def _lock(site: Site, readings: Sequence[Reading]) -> dict[int, Placement]:
    """The placements named, locked in one order for all, so that two reports don't deadlock."""
    rows = Placement.objects.filter(pk__in={r.placement for r in readings}, site=site)
    locked = rows.select_related("settings").select_for_update(of=("self",)).order_by("pk")
    return {placement.pk: placement for placement in locked}


def _judge(reading: Reading, placements: Mapping[int, Any]) -> Reported:
    placement = placements.get(reading.placement)
    if placement is None or placement.slot_id != reading.slot or placement.state != "in_force":
        return Reported(reading, stale=STALE)
    expected = placement.settings.values
    kept, problems = read_found(expected, reading.found)
    if problems:
        return Reported(reading, problems=problems)
    tidied = Reading(reading.slot, reading.placement, kept)
    verdicts = compare(expected, kept)
    return Reported(tidied, overall(verdicts), verdicts)


def _write(by: User, taken: Sequence[Reported]) -> None:
    ReadBack.objects.bulk_create(
        ReadBack(
            slot_id=report.reading.slot,
            placement_id=report.reading.placement,
            by=by,
            found=dict(report.reading.found),
            verdicts=dict(report.verdicts or {}),
            verdict=report.verdict,
        )
        for report in taken
    )
    last = {report.reading.placement: report.verdict for report in taken}
    for verdict in set(last.values()):
        named = [pk for pk, given in last.items() if given == verdict]
        Placement.objects.filter(pk__in=named).exclude(verdict=verdict).update(verdict=verdict)
