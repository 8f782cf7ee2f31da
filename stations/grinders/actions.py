"""Entering grinders, and writing down how they are set and what is done to them."""

from collections.abc import Collection, Sequence
from datetime import datetime
from decimal import Decimal

from audit.capture.context import recorded
from audit.errors import Problem, Stale, Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.equipment.models import Site, Station
from stations.grinders.models import BREAKS, EventKind, Finer, Grinder, GrinderEvent, GrinderStation
from web.checks import Checks, taken
from web.numbers import Bounds

GRINDER_ADDED = register("grinder.added", "Added grinder")
GRINDER_CHANGED = register("grinder.changed", "Changed grinder")
GRINDER_SET = register("grinder.set", "Set grinder")
GRINDER_WORKED_ON = register("grinder.worked_on", "Changed burrs or grinder")

# What a collar may show; common practice with room on both sides, no source.
SETTING = Bounds(Decimal(-1000), Decimal(1000), places=2)
MARKS = Bounds(Decimal("0.1"), Decimal(1000), places=2)
STEP = Bounds(Decimal("0.01"), Decimal(100), places=2)
MICROMETRES = Bounds(Decimal("0.01"), Decimal(1000), places=2, unit="um")
REASON = 500
SERIAL = 80


def add_grinder(
    *, by: User, site: Site, name: str, finer: str, stations: Collection[Station],
    setting: Decimal, marks_per_turn: Decimal | None = None, step: Decimal = Decimal(1),
    micrometres_per_mark: Decimal | None = None,
) -> Grinder:  # fmt: skip
    """Enter a grinder with the mark it stands at, and the stations it serves.

    ``step`` is the least move of its collar, in marks. Raises Invalid and NotPermitted.
    """
    subject = Subject("grinder", None, str(name))
    with recorded(by=by, action=GRINDER_ADDED, subject=subject, site_id=site.pk):
        require(by, Verb.EQUIPMENT_EDIT, site.pk, subject)
        checks = Checks()
        kept = _traits(checks, name, finer, marks_per_turn, step, micrometres_per_mark)
        mark = checks.number("setting", setting, SETTING)
        _same_site(checks, site.pk, stations)
        checks.done()
        grinder = Grinder(site=site, **kept)
        with taken(**_name_taken(name)):
            grinder.save(force_insert=True)
        _serve(grinder, stations)
        GrinderEvent.objects.create(
            grinder=grinder, kind=EventKind.SET, setting=mark, by=by, reason="When it was entered"
        )
    return grinder


def change_grinder(
    *, by: User, grinder: Grinder, revision: int, name: str, finer: str,
    stations: Collection[Station], marks_per_turn: Decimal | None = None,
    step: Decimal = Decimal(1), micrometres_per_mark: Decimal | None = None,
) -> Grinder:  # fmt: skip
    """Change what is known of a grinder, and which stations it serves.

    Raises Invalid, Stale and NotPermitted.
    """
    subject = Subject("grinder", grinder.pk, grinder.name)
    with recorded(by=by, action=GRINDER_CHANGED, subject=subject, site_id=grinder.site_id):
        require(by, Verb.EQUIPMENT_EDIT, grinder.site_id, subject)
        checks = Checks()
        kept = _traits(checks, name, finer, marks_per_turn, step, micrometres_per_mark)
        _same_site(checks, grinder.site_id, stations)
        checks.done()
        with taken(**_name_taken(name)):
            compare_and_set(grinder, revision, **kept)
        _serve(grinder, stations)
    return grinder


def set_grinder(
    *, by: User, grinder: Grinder, seen_event: int | None, setting: Decimal, reason: str
) -> GrinderEvent:
    """Write down the mark a grinder is set to now, and why.

    ``seen_event`` is the newest line of its log that was looked at. Raises Invalid, Stale and
    NotPermitted.
    """
    subject = Subject("grinder", grinder.pk, grinder.name)
    with recorded(
        by=by, action=GRINDER_SET, reason=reason, subject=subject, site_id=grinder.site_id
    ):
        require(by, Verb.GRINDER_SET, grinder.site_id, subject)
        return _log(by, grinder, seen_event, (EventKind.SET,), EventKind.SET, setting, reason)


def work_on_grinder(
    *, by: User, grinder: Grinder, seen_event: int | None, kind: str, setting: Decimal,
    reason: str, serial_number: str = "",
) -> GrinderEvent:  # fmt: skip
    """Write down that its burrs, or all of it, were changed, and the mark it stands at since.

    What shots taught about its marks before says nothing from now on. Raises Invalid, Stale and
    NotPermitted.
    """
    subject = Subject("grinder", grinder.pk, grinder.name)
    with recorded(
        by=by, action=GRINDER_WORKED_ON, reason=reason, subject=subject, site_id=grinder.site_id
    ):
        require(by, Verb.CALIBRATION_RECORD, grinder.site_id, subject)
        return _log(by, grinder, seen_event, BREAKS, kind, setting, reason, serial_number)


def note_setting(
    by: User, grinder: Grinder, setting: Decimal, reason: str, seen_at: datetime | None = None
) -> None:
    """Write down that a grinder stands at another mark, as part of another action.

    One ``seen_at`` an earlier moment says nothing where its log has a later line.
    """
    held = Grinder.objects.select_for_update().get(pk=grinder.pk)
    newest = held.events.first()
    if newest is not None and seen_at is not None and newest.at > seen_at:
        return
    if newest is None or newest.setting != setting:
        GrinderEvent.objects.create(
            grinder=held, kind=EventKind.SET, setting=setting, reason=reason, by=by
        )


def _log(  # noqa: PLR0917 - the columns of a line
    by: User, grinder: Grinder, seen: int | None, kinds: Sequence[EventKind], kind: str,
    setting: Decimal, reason: str, serial: str = "",
) -> GrinderEvent:  # fmt: skip
    held = Grinder.objects.select_for_update().get(pk=grinder.pk)
    newest = held.events.first()
    if newest is not None and newest.pk != seen:
        raise Stale(
            f"{grinder} was set to {newest.setting:f} meanwhile: look at its log first.", newest.pk
        )
    checks = Checks()
    kept = {
        "kind": checks.choice("kind", kind, [each.value for each in kinds]),
        "setting": checks.number("setting", setting, SETTING),
        "reason": checks.text("reason", reason, most=REASON),
        "serial_number": checks.text("serial_number", serial, most=SERIAL, required=False),
    }
    checks.done()
    return GrinderEvent.objects.create(grinder=held, by=by, **kept)


def _traits(  # noqa: PLR0917 - the columns of a row
    checks: Checks, name: str, finer: str, marks: Decimal | None, step: Decimal,
    micrometres: Decimal | None,
) -> dict[str, object]:  # fmt: skip
    return {
        "name": checks.text("name", name),
        "finer": checks.choice("finer", finer, Finer.values),
        "marks_per_turn": checks.number_or_none("marks_per_turn", marks, MARKS),
        "step": checks.number("step", step, STEP),
        "micrometres_per_mark": checks.number_or_none(
            "micrometres_per_mark", micrometres, MICROMETRES
        ),
    }


def _same_site(checks: Checks, site_id: int, stations: Collection[Station]) -> None:
    for station in stations:
        if station.machine.site_id != site_id:
            checks.fault("stations", station.pk, "stations of the grinder's own site")


def _serve(grinder: Grinder, stations: Collection[Station]) -> None:
    """Only what differs is written, so that the history shows what changed."""
    wanted = {station.pk for station in stations}
    grinder.serves.exclude(station__in=wanted).delete()
    there = set(grinder.serves.values_list("station_id", flat=True))
    GrinderStation.objects.bulk_create(
        GrinderStation(grinder=grinder, station_id=pk) for pk in sorted(wanted - there)
    )


def _name_taken(name: str) -> dict[str, Problem]:
    allowed = "a name no other grinder of this site has"
    return {"grinder_name_once_per_site": Problem("name", name, allowed)}
