"""Writing down that a part was replaced, and ending what was known of the old one."""

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Stale, Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.calibrations.models import PARTS, Calibration
from stations.equipment.models import Machine, Site, Station
from stations.equipment.replaced import OF_STATION, Part, Replacement
from web.checks import Checks

PART_REPLACED = register("equipment.part_replaced", "Replaced a part")

REASON, SERIAL = 500, 80
# The figures that a part's calibration gave a station, and that calibration's kind.
FIGURES = {
    Part.FLOW_METER: ("pulses_per_millilitre", "slope_uncertainty", "repeatability"),
    Part.PROBE: ("temperature_offset", "offset_uncertainty"),
}
KINDS = {part: kind for kind, part in PARTS.items()}


@dataclass(frozen=True, slots=True)
class Place:
    """Where a part is: at a station, else at a machine, else at a site."""

    site: Site
    machine: Machine | None = None
    station: Station | None = None

    @property
    def subject(self) -> Subject:
        """As the history names it."""
        if self.station:
            return Subject("station", self.station.pk, str(self.station))
        if self.machine:
            return Subject("machine", self.machine.pk, str(self.machine))
        return Subject("site", self.site.pk, str(self.site))

    @property
    def parts(self) -> tuple[Part, ...]:
        """What can be replaced there."""
        if self.station:
            return OF_STATION
        return (Part.PUMP,) if self.machine else (Part.FILTER,)

    def newest(self) -> Replacement | None:
        """What was noted last of this very place."""
        rows = Replacement.objects.filter(
            site=self.site, machine=self.machine, station=self.station
        )
        return rows.first()


def replace_part(
    *, by: User, place: Place, seen: int | None, part: str, at: datetime, reason: str,
    old_serial: str = "", new_serial: str = "",
) -> Replacement:  # fmt: skip
    """Write down that a part was replaced at that moment; what was known of the old one ends.

    A station without a flow meter's figure is as one never calibrated: nothing metered is planned
    for it until somebody measures it. ``seen`` is the newest replacement noted there that was
    looked at. Raises Invalid, Stale and NotPermitted.
    """
    subject, site = place.subject, place.site
    with recorded(by=by, action=PART_REPLACED, reason=reason, subject=subject, site_id=site.pk):
        require(by, Verb.CALIBRATION_RECORD, site.pk, subject)
        checks = Checks()
        kept = {
            "part": checks.choice("part", part, [each.value for each in place.parts]),
            "reason": checks.text("reason", reason, most=REASON),
            "old_serial": checks.text("old_serial", old_serial, most=SERIAL, required=False),
            "new_serial": checks.text("new_serial", new_serial, most=SERIAL, required=False),
        }
        if at > timezone.now():
            checks.fault("at", site.local(at).isoformat(), "a moment that has been")
        checks.done()
        _hold(place, seen)
        made = Replacement.objects.create(
            site=site, machine=place.machine, station=place.station, at=at, by=by, **kept
        )
        if place.station:
            _end_figures(place.station, Part(made.part), at)
        return made


def _hold(place: Place, seen: int | None) -> None:
    """Whoever notes another one there, or accepts a calibration, waits. Raises Stale."""
    if place.station:
        Station.objects.select_for_update(no_key=True).get(pk=place.station.pk)
    elif place.machine:
        Machine.objects.select_for_update(no_key=True).get(pk=place.machine.pk)
    else:
        Site.objects.select_for_update(no_key=True).get(pk=place.site.pk)
    newest = place.newest()
    if (newest.pk if newest else None) != seen:
        noted = f"Noted meanwhile: {newest}." if newest else "None is noted there."
        raise Stale(f"{noted} Look at it first.", newest.pk if newest else 0)


def _end_figures(station: Station, part: Part, at: datetime) -> None:
    """Take the figure away, unless what counts was measured after the part was replaced."""
    rows = Calibration.objects.filter(station=station, kind=KINDS[part])
    if rows.newest_accepted().filter(recorded_at__gt=at).exists():
        return
    held = Station.objects.get(pk=station.pk)
    if any(getattr(held, name) is not None for name in FIGURES[part]):
        compare_and_set(held, held.revision, **dict.fromkeys(FIGURES[part]))
