"""Finding out what a slot really holds."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db import connection
from django.db.models import Exists, OuterRef

from audit.capture.context import Channel, recorded, request_context
from audit.errors import Invalid, Problem, Refused, Stale, Subject
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.equipment.models import Site, Slot
from stations.slots.models import Placement, ReadBack
from stations.slots.signed import withhold
from stations.slots.verdicts import compare, overall, read_found
from web.queued import checked, told_late

SLOT_READ_BACK = register("slot.read_back", "Read back slot")


def read_back(
    *,
    by: User,
    slot: Slot,
    seen_placement: int,
    found: Mapping[str, str],
    unread: Collection[str] = (),
    made_at: datetime | None = None,
) -> ReadBack:
    """Write down what a slot was found to hold, and give the verdict per parameter.

    ``found`` maps codes to what the machine shows, in its own unit; what is left out or empty
    counts as missing, but for the codes in ``unread``, which nobody looked at.
    ``seen_placement`` is the id of the placement whose settings were shown, ``made_at`` when it
    was read, where that was noted without a line: a later reading says more. Raises Invalid,
    Stale (it is no longer in force), Refused (nothing is) and NotPermitted.
    """
    site_id = slot.station.machine.site_id
    subject = Subject("slot", slot.pk, str(slot))
    late = told_late(made_at)
    with recorded(by=by, action=SLOT_READ_BACK, reason=late, subject=subject, site_id=site_id):
        require(by, reading_verb(), site_id, subject)
        placement = _lock(slot, seen_placement, subject)
        kept, problems = read_found(placement.settings.values, found)
        if problems:
            raise Invalid.of(problems)
        verdicts = compare(placement.settings.values, kept, unread=unread)
        written = ReadBack.objects.create(
            slot=slot, placement=placement, by=by, found=kept,
            verdicts=verdicts, verdict=overall(verdicts), **_moment(checked(made_at)),
        )  # fmt: skip
        if written.verdict not in (placement.verdict, Placement.Verdict.UNREAD):
            _not_read_since([placement.pk], made_at).update(verdict=written.verdict)
    return written


def _moment(made: datetime | None) -> dict[str, datetime]:
    return {"at": made} if made else {}


def _not_read_since(placements: Sequence[int], made: datetime | None) -> Any:  # noqa: ANN401
    """Those of the placements of which nobody read more after that moment.

    Nor did they come back into force after it: what was read before says nothing about that.
    """
    rows = Placement.objects.filter(pk__in=placements)
    if made is None:
        return rows
    stepped_in = Placement.objects.filter(slot=OuterRef("slot"), superseded_by=OuterRef("pk"))
    rows = rows.exclude(Exists(stepped_in.filter(manner="steps_in", ended_at__gt=made)))
    later = ReadBack.objects.filter(placement=OuterRef("pk"), at__gt=made)
    return rows.exclude(Exists(later.exclude(verdict=Placement.Verdict.UNREAD)))


def reading_verb() -> Verb:
    """A gateway reports under a verb of its own, so that its keeper need not be a shop lead."""
    by_gateway = request_context.get().channel == Channel.GATEWAY
    return Verb.GATEWAY_REPORT if by_gateway else Verb.SLOT_READ_BACK


def _lock(slot: Slot, seen: int, subject: Subject) -> Placement:
    """The placement that was seen, locked, so that nothing takes over before the verdict stands."""
    rows = Placement.objects.filter(slot=slot).select_related("settings", "signature", "slot")
    # By its id: a search for what is in force would miss what came into force while it waited.
    seen_row = rows.select_for_update(of=("self",)).filter(pk=seen)
    placement: Placement | None = seen_row.first()
    if placement is not None and placement.state == Placement.State.IN_FORCE:
        return _as_signed(placement, subject)
    current = rows.in_force().first()
    if current is None:
        raise Refused(
            "Nothing is in force in this slot, so there is nothing to compare it with.",
            who_may="a head roaster, by signing settings for it",
            how_to_ask="Ask a head roaster for signed settings for this slot.",
            subject=subject,
            site_id=slot.station.machine.site_id,
        )
    raise Stale(
        f"This slot should hold something else by now: {current.settings.title}. "
        "Look at the newest settings, then read it back.",
        current_revision=current.pk,
    )


def _as_signed(placement: Placement, subject: Subject) -> Placement:
    """The same. Raises Refused if it is not what was signed: nothing can match that."""
    withhold([placement])
    if placement.problem:
        raise Refused(
            placement.problem,
            who_may="an owner, who finds out what was changed",
            how_to_ask="Tell the owner, and load nothing into this slot before that.",
            subject=subject,
            site_id=placement.site_id,
        )
    return placement


# Many read-backs of one site at once, as a gateway reports them or a round brings them.

STALE = "This is not in force in that slot any more, or never was: fetch the settings again."


@dataclass(frozen=True, slots=True)
class Reading:
    """What one slot was found to hold, compared with the placement that was fetched for it."""

    slot: int
    placement: int
    found: Mapping[str, str]
    unread: Collection[str] = ()


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


def report_read_backs(
    *, by: User, site: Site, readings: Sequence[Reading], made_at: datetime | None = None
) -> list[Reported]:
    """Write down every reading that can be used; the others are told apart, in the same order.

    One bad reading keeps none of the others back: a gateway goes on when one slot has changed.
    ``made_at`` is when they were read, where that was noted without a line. Raises NotPermitted,
    and Invalid for a moment that can't be.
    """
    subject = Subject("site", site.pk, site.name)
    late = told_late(made_at)
    with recorded(by=by, action=SLOT_READ_BACK, reason=late, subject=subject, site_id=site.pk):
        require(by, reading_verb(), site.pk, subject)
        placements = _lock_reported(site, readings)
        reported = [_judge(reading, placements) for reading in readings]
        _write(by, [report for report in reported if report.taken], checked(made_at))
    return reported


def _lock_reported(site: Site, readings: Sequence[Reading]) -> dict[int, Placement]:
    """The placements named, locked in one order for all, so that two reports don't deadlock."""
    rows = Placement.objects.filter(pk__in={r.placement for r in readings}, site=site)
    whole = rows.select_related("settings", "signature", "slot")
    locked = list(whole.select_for_update(of=("self",)).order_by("pk"))
    withhold(locked)
    return {placement.pk: placement for placement in locked}


def _judge(reading: Reading, placements: Mapping[int, Any]) -> Reported:
    placement = placements.get(reading.placement)
    if placement is None or placement.slot_id != reading.slot or placement.state != "in_force":
        return Reported(reading, stale=STALE)
    if placement.problem:
        return Reported(reading, stale=placement.problem)
    expected = placement.settings.values
    kept, problems = read_found(expected, reading.found)
    if problems:
        return Reported(reading, problems=problems)
    tidied = replace(reading, found=kept)
    verdicts = compare(expected, kept, unread=reading.unread)
    return Reported(tidied, overall(verdicts), verdicts)


def _write(by: User, taken: Sequence[Reported], made: datetime | None) -> None:
    ReadBack.objects.bulk_create(
        ReadBack(
            slot_id=report.reading.slot,
            placement_id=report.reading.placement,
            by=by,
            found=dict(report.reading.found),
            verdicts=dict(report.verdicts or {}),
            verdict=report.verdict,
            **_moment(made),
        )
        for report in taken
    )
    # One that leaves something unread and differs in nothing says no more than was known.
    last = {report.reading.placement: report.verdict for report in taken}
    for verdict in set(last.values()) - {Placement.Verdict.UNREAD.value}:
        named = [pk for pk, given in last.items() if given == verdict]
        _not_read_since(named, made).exclude(verdict=verdict).update(verdict=verdict)


SETTLE = """
UPDATE stations_placement p SET verdict = c.verdict
FROM unnest(%s::bigint[], %s::timestamptz[], %s::text[]) AS c (id, at, verdict)
WHERE p.id = c.id AND p.state = 'in_force' AND p.verdict <> c.verdict
    AND NOT EXISTS (SELECT 1 FROM stations_readback r WHERE r.placement_id = p.id
        AND r.at > c.at AND r.verdict <> 'unread')
    AND NOT EXISTS (SELECT 1 FROM stations_placement s WHERE s.slot_id = p.slot_id
        AND s.superseded_by_id = p.id AND s.manner = 'steps_in' AND s.ended_at > c.at)
"""


def settle_verdicts(newest: Mapping[int, tuple[datetime, str]]) -> None:
    """By placement the moment and the newest verdict but "unread", where nothing says more.

    For readings of several moments at once; inside the transaction that writes them.
    """
    told = [(pk, at, verdict) for pk, (at, verdict) in newest.items()]
    if told:
        with connection.cursor() as cursor:
            cursor.execute(SETTLE, [list(column) for column in zip(*told, strict=True)])
