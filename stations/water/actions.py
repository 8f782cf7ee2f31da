"""Writing down what a site's water is like."""

from collections.abc import Callable, Collection
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
from stations.metrology.numbers import Real
from stations.metrology.water_units import (
    AlkalinityUnit,
    HardnessUnit,
    TemperatureUnit,
    alkalinity,
    celsius,
    hardness,
)
from stations.water.models import FIGURES, WaterReading
from web.checks import Checks
from web.numbers import Bounds, rounded
from web.text import one_line

WATER_READ = register("site.water_read", "Noted water reading")

PH = Bounds(Decimal(0), Decimal(14), places=2, unit="1")
AMOUNT = Bounds(Decimal(0), Decimal(10_000), places=3)
SOLIDS = Bounds(Decimal("0.1"), Decimal(10_000), places=2, unit="mg/L")
CONDUCTIVITY = Bounds(Decimal("0.1"), Decimal(20_000), places=2, unit="uS/cm")
CHLORIDE = Bounds(Decimal(0), Decimal(10_000), places=2, unit="mg/L")
TEMPERATURE = Bounds(Decimal(-1), Decimal(400), places=2)
NOTE = 500
EARLIEST = date(2000, 1, 1)  # an earlier one is a slip of the finger
PLACES = 3
SOMETHING = "at least one of pH, hardness, alkalinity, dissolved solids, conductivity and chloride"

Figure = Decimal | None


def record_water(
    *, by: User, site: Site, taken_on: date, ph: object = None, hardness_value: object = None,
    hardness_unit: str = "", alkalinity_value: object = None, alkalinity_unit: str = "",
    dissolved_solids: object = None, conductivity: object = None, chloride: object = None,
    temperature: object = None, temperature_unit: str = "", note: str = "",
) -> WaterReading:  # fmt: skip
    """Keep a reading as entered, and converted to mg/L CaCO3 and °C; what it lacks stays empty.

    A unit counts only where its value is given. Raises NotPermitted, and Invalid naming what
    can't be used, or that nothing was read.
    """
    subject = Subject("site", site.pk, site.name)
    with recorded(by=by, action=WATER_READ, subject=subject, site_id=site.pk):
        require(by, Verb.CALIBRATION_RECORD, site.pk, subject)
        checks = Checks()
        _check_frame(checks, site, taken_on, note)
        values = {
            "ph": checks.number_or_none("ph", ph, PH),
            "dissolved_solids": checks.number_or_none("dissolved_solids", dissolved_solids, SOLIDS),
            "conductivity": checks.number_or_none("conductivity", conductivity, CONDUCTIVITY),
            "chloride": checks.number_or_none("chloride", chloride, CHLORIDE),
        }
        hard = _converted(checks, "hardness", hardness_value, hardness_unit)
        alkaline = _converted(checks, "alkalinity", alkalinity_value, alkalinity_unit)
        warm = _temperature(checks, temperature, temperature_unit)
        everything = {**values, **hard, **alkaline, **warm}
        if all(everything[each] is None for each in FIGURES):
            checks.fault("ph", ph, SOMETHING)
        checks.done()
        return WaterReading.objects.create(
            site=site, taken_on=taken_on, by=by, note=note.strip(), **everything
        )


def _check_frame(checks: Checks, site: Site, taken_on: date, note: str) -> None:
    """The day and the note."""
    if not EARLIEST <= taken_on <= site.local(timezone.now()).date():
        checks.fault("taken_on", taken_on, f"the day it was taken, from {EARLIEST} to today")
    if note and not one_line(note, NOTE):
        checks.fault("note", note[:40], f"one line of text, up to {NOTE} characters")


# The concentrations that reports give in several units, and what turns each into mg/L CaCO3.
CONCENTRATIONS: dict[str, tuple[Collection[str], Callable[[Real, str], float]]] = {
    "hardness": (list(HardnessUnit), hardness),
    "alkalinity": (list(AlkalinityUnit), alkalinity),
}


def _converted(checks: Checks, name: str, value: object, unit: str) -> dict[str, Figure | str]:
    """A concentration, its unit, and what it is in mg/L CaCO3; all None where it wasn't read."""
    units, convert = CONCENTRATIONS[name]
    amount = checks.number_or_none(f"{name}_value", value, AMOUNT)
    known: str | None = None
    canonical: Figure = None
    if amount is not None:
        known = checks.choice(f"{name}_unit", unit, units)
        canonical = rounded(convert(amount, known), PLACES) if known in units else None
    return {name: amount, f"{name}_unit": known, f"{name}_converted": canonical}


def _temperature(checks: Checks, value: object, unit: str) -> dict[str, Figure | str]:
    """The sample's temperature, which for water is 0 to 100 °C; None where it wasn't read."""
    degrees = checks.number_or_none("temperature", value, TEMPERATURE)
    known: str | None = None
    canonical: Figure = None
    if degrees is not None:
        known = checks.choice("temperature_unit", unit, list(TemperatureUnit))
        canonical = _celsius(degrees, known)
        if canonical is None and known in list(TemperatureUnit):
            checks.fault("temperature", value, "a temperature from 0 to 100 °C, in the chosen unit")
    return {"temperature": degrees, "temperature_unit": known, "temperature_converted": canonical}


def _celsius(value: Decimal, unit: str) -> Figure:
    """The temperature in °C; None where water isn't liquid, or the unit unknown."""
    try:
        degrees = rounded(celsius(value, unit), PLACES)
    except BadValueError:
        return None
    return degrees if 0 <= degrees <= 100 else None
