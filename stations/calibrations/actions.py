"""Recording a calibration, and rejecting one. Accepting changes what slots hold: see recipes."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date, timedelta

from django.db.models.functions import Now
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Subject
from audit.revision import compare_and_set
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.calibrations.models import Calibration
from stations.calibrations.outcome import (
    COLUMNS,
    Runs,
    air_pressure_at,
    read_runs,
    typed_figure,
    work_out,
)
from stations.calibrations.questions import answered, ask, ask_about_figure
from stations.equipment.bounds import AIR_PRESSURE, Figure, ask_usual, check_barometer
from stations.equipment.models import Site, Station
from stations.metrology.atmosphere import usual_barometer
from web.checks import Checks

CALIBRATION_RECORDED = register("calibration.recorded", "Recorded calibration")
CALIBRATION_REJECTED = register("calibration.rejected", "Rejected calibration")
CALIBRATION_ACCEPTED = register("calibration.accepted", "Accepted calibration")
BAROMETER_READ = register("site.barometer_read", "Read barometer")

LONGEST = timedelta(days=731)


def record_calibration(
    *, by: User, station: Station, kind: str, runs: Runs, due_on: date,
    answers: Mapping[str, str] | None = None,
) -> Calibration:  # fmt: skip
    """Keep the runs and what follows from them; nothing at the station changes yet.

    Runs as decimal strings by column (``stations.calibrations.outcome.COLUMNS``); ``answers`` by
    the keys of what is asked about them (``stations.calibrations.questions``). Raises Invalid
    naming run, value and range, or each question without an answer; and NotPermitted.
    """
    with _recording(by, station, kind, due_on) as newest:
        kept = read_runs(kind, runs)
        outcome = work_out(kind, kept, newest.machine.site)
        kept_answers = answered(ask(kind, kept, newest), answers or {})
        return Calibration.objects.create(
            station=station, kind=kind, runs=kept, value=outcome.value, answers=kept_answers,
            uncertainty=outcome.uncertainty, repeatability=outcome.repeatability,
            air_pressure=air_pressure_at(newest.machine.site), dof=outcome.dof, due_on=due_on,
            recorded_by=by,
        )  # fmt: skip


def record_figure(
    *, by: User, station: Station, kind: str, value: object, reason: str, due_on: date,
    answers: Mapping[str, str] | None = None,
) -> Calibration:  # fmt: skip
    """Keep a figure that was not measured here, with the reason; it is accepted like any other.

    Pulses per mL, or °C measured minus set. Its uncertainty is not known from then on. Raises
    Invalid (value, reason, due_on, each question without an answer), and NotPermitted.
    """
    with _recording(by, station, kind, due_on, reason) as newest:
        outcome = typed_figure(kind, value)
        checks = Checks()
        why = checks.text("reason", reason, most=500)
        checks.done()
        kept = answered(ask_about_figure(kind, outcome.value, newest), answers or {})
        return Calibration.objects.create(
            station=station, kind=kind, runs=[], value=outcome.value, uncertainty=None,
            answers=kept, typed_because=why, dof=0, due_on=due_on, recorded_by=by,
            air_pressure=air_pressure_at(newest.machine.site),
        )  # fmt: skip


@contextmanager
def _recording(
    by: User, station: Station, kind: str, due_on: date, reason: str = ""
) -> Iterator[Station]:
    """Whoever may do it, at the station as it is now, for a kind and a day that can be."""
    site = station.machine.site
    subject = Subject("station", station.pk, str(station))
    with recorded(
        by=by, action=CALIBRATION_RECORDED, reason=reason, subject=subject, site_id=site.pk
    ):
        require(by, Verb.CALIBRATION_RECORD, site.pk, subject)
        if kind not in COLUMNS:
            raise Invalid("kind", kind, f"one of {', '.join(COLUMNS)}")
        _check_due(due_on, site)
        yield Station.objects.select_related("machine__site").get(pk=station.pk)


def _check_due(due_on: date, site: Site) -> None:
    today = site.local(timezone.now()).date()
    if not today < due_on <= today + LONGEST:
        raise Invalid("due_on", due_on.isoformat(), "a day within the next two years")


def reject_calibration(
    *, by: User, calibration: Calibration, revision: int, reason: str
) -> Calibration:
    """Decide that a calibration is not taken over. Raises Invalid, Stale, Refused, NotPermitted."""
    site_id = calibration.station.machine.site_id
    subject = Subject("station", calibration.station_id, str(calibration.station))
    with recorded(
        by=by, action=CALIBRATION_REJECTED, reason=reason, subject=subject, site_id=site_id
    ):
        require(by, Verb.CALIBRATION_RECORD, site_id, subject)
        if not reason.strip():
            raise Invalid("reason", reason, "a sentence that says why")
        refuse_if_decided(calibration)
        compare_and_set(
            calibration, revision, state=Calibration.State.REJECTED, reason=reason.strip(),
            decided_by=by, decided_at=Now(),
        )  # fmt: skip
    calibration.refresh_from_db()
    return calibration


def refuse_if_decided(calibration: Calibration) -> None:
    """Raise Refused for one that was accepted or rejected already."""
    state = Calibration.objects.values_list("state", flat=True).get(pk=calibration.pk)
    if state != Calibration.State.PROPOSED:
        label = Calibration.State(state).label
        raise Refused(f"This calibration is {label} already; record a new one to measure again.")


def record_barometer(
    *, by: User, site: Site, revision: int, air_pressure: object, read_on: date | None,
    reason: str = "",
) -> Site:  # fmt: skip
    """Note a barometer's reading at a site [hPa, not reduced to sea level]; None takes it away.

    It counts before the altitude wherever boiling matters, so one that was reduced to sea level is
    refused against the altitude, and one that few days have takes a reason. Raises Invalid, Stale,
    NotPermitted.
    """
    subject = Subject("site", site.pk, site.name)
    with recorded(by=by, action=BAROMETER_READ, reason=reason, subject=subject, site_id=site.pk):
        require(by, Verb.CALIBRATION_RECORD, site.pk, subject)
        checks = Checks()
        value = checks.number_or_none("air_pressure", air_pressure, AIR_PRESSURE)
        check_barometer(checks, "air_pressure", value, site.altitude)
        odd = Figure(
            "air_pressure", value, AIR_PRESSURE, lambda hpa: usual_barometer(hpa, site.altitude)
        )
        ask_usual(checks, reason, odd)
        today = site.local(timezone.now()).date()
        if value is not None and (read_on is None or read_on > today):
            checks.fault("read_on", read_on, "the day it was read, not later than today")
        checks.done()
        compare_and_set(
            site, revision, air_pressure=value,
            air_pressure_on=None if value is None else read_on,
        )  # fmt: skip
    return site
