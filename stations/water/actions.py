"""Writing down what a site's water is like."""

from datetime import date
from decimal import Decimal

from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Subject
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.metrology.errors import BadValueError
from stations.metrology.water_units import (
    AlkalinityUnit,
    HardnessUnit,
    TemperatureUnit,
    alkalinity,
    celsius,
    hardness,
)
from stations.water.models import WaterReading
from web.checks import Checks
from web.numbers import Bounds, rounded
from web.text import one_line

WATER_READ = register("site.water_read", "Noted water reading")

PH = Bounds(Decimal(0), Decimal(14), places=2, unit="1")
AMOUNT = Bounds(Decimal(0), Decimal(10_000), places=3)
SOLIDS = Bounds(Decimal("0.1"), Decimal(10_000), places=2, unit="mg/L")
TEMPERATURE = Bounds(Decimal(-1), Decimal(400), places=2)
NOTE = 500
EARLIEST = date(2000, 1, 1)  # an earlier one is a slip of the finger
PLACES = 3


def record_water(
    *, by: User, site: Site, taken_on: date, ph: object, hardness_value: object,
    hardness_unit: str, alkalinity_value: object, alkalinity_unit: str, dissolved_solids: object,
    temperature: object, temperature_unit: str, note: str = "",
) -> WaterReading:  # fmt: skip
    """Keep a reading as entered, and converted to mg/L CaCO3 and °C.

    Raises NotPermitted, and Invalid naming what can't be used.
    """
    subject = Subject("site", site.pk, site.name)
    with recorded(by=by, action=WATER_READ, subject=subject, site_id=site.pk):
        require(by, Verb.CALIBRATION_RECORD, site.pk, subject)
        checks = Checks()
        _check_frame(checks, site, taken_on, note)
        hard = checks.number("hardness_value", hardness_value, AMOUNT)
        alkaline = checks.number("alkalinity_value", alkalinity_value, AMOUNT)
        warm = checks.number("temperature", temperature, TEMPERATURE)
        values = {
            "ph": checks.number("ph", ph, PH),
            "hardness": hard,
            "hardness_unit": checks.choice("hardness_unit", hardness_unit, list(HardnessUnit)),
            "alkalinity": alkaline,
            "alkalinity_unit": checks.choice(
                "alkalinity_unit", alkalinity_unit, list(AlkalinityUnit)
            ),
            "dissolved_solids": checks.number("dissolved_solids", dissolved_solids, SOLIDS),
            "temperature": warm,
            "temperature_unit": checks.choice(
                "temperature_unit", temperature_unit, list(TemperatureUnit)
            ),
        }
        checks.done()
        degrees = _celsius(checks, warm, temperature_unit)
        return WaterReading.objects.create(
            site=site, taken_on=taken_on, by=by, note=note.strip(), **values,
            hardness_converted=rounded(hardness(hard, hardness_unit), PLACES),
            alkalinity_converted=rounded(alkalinity(alkaline, alkalinity_unit), PLACES),
            temperature_converted=degrees,
        )  # fmt: skip


def _check_frame(checks: Checks, site: Site, taken_on: date, note: str) -> None:
    """The day and the note."""
    if not EARLIEST <= taken_on <= site.local(timezone.now()).date():
        checks.fault("taken_on", taken_on, f"the day it was taken, from {EARLIEST} to today")
    if note and not one_line(note, NOTE):
        checks.fault("note", note[:40], f"one line of text, up to {NOTE} characters")


def _celsius(checks: Checks, value: Decimal, unit: str) -> Decimal:
    """The temperature in °C, which for water is 0 to 100."""
    try:
        degrees = rounded(celsius(value, unit), PLACES)
    except BadValueError:
        degrees = Decimal(-1)
    if not 0 <= degrees <= 100:
        checks.fault("temperature", value, "a temperature from 0 to 100 °C, in the chosen unit")
    checks.done()
    return degrees
